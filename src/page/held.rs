//! What the page of one folder holds: the folder, the tables, and what was drawn of late.

use super::folder::Folder;
use super::memory::Memory;
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::{Sampling, Sure, sure};
use crate::tables::Tables;
use crate::tasks::Means;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

/// The page of one folder, which [answers](Page::answer) calls, whoever brings them.
pub struct Page {
    pub(super) folder: Arc<dyn Folder>,
    pub(super) known_as: KnownAs,
    pub(super) tables: Tables,
    pub(super) judge: Judge,
    /// One save at a time: what is compared must still hold when the file is put in its place.
    pub(super) saving: Mutex<()>,
    /// Scrubs drawn of late, and what came of it: the same ones are asked for again and again, by undo, by versions kept, by two tabs.
    drawn: Mutex<VecDeque<(Scrub, Sure)>>,
}

/// What a folder goes by.
pub(super) struct KnownAs {
    /// For people.
    pub name: String,
    /// Tells the folder from every other one that the same browser may see, and not where it lies.
    pub id: String,
}

/// Scrubs whose draws are remembered: the one in hand, the versions kept, and some to go back to.
const REMEMBERED: usize = 12;

impl Page {
    pub(super) fn new(folder: Arc<dyn Folder>, known_as: KnownAs, tables: Tables, judge: Judge) -> Self {
        let (saving, drawn) = (Mutex::default(), Mutex::default());
        Self { folder, known_as, tables, judge, saving, drawn }
    }

    /// The page of a folder in memory, which others fill and empty; they know what it goes by.
    pub fn in_memory(folder: Arc<Memory>, tables: Tables, judge: Judge) -> Self {
        Self::new(folder, KnownAs { name: "memory".into(), id: "memory".into() }, tables, judge)
    }

    /// What tasks work with here.
    pub(super) fn means(&self) -> Means<'_> {
        Means { tables: &self.tables, judge: &self.judge }
    }

    /// How sure the verdict on a scrub is.
    pub(super) fn drawn(&self, scrub: &Scrub) -> Sure {
        // A call that failed while it held the lock left what was there before.
        let mut known = self.drawn.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, found)) = known.iter().find(|(drawn, _)| drawn == scrub) {
            return found.clone();
        }
        let found = sure(scrub, &self.judge, &self.tables, Sampling::VERDICT);
        known.truncate(REMEMBERED - 1);
        known.push_front((scrub.clone(), found.clone()));
        found
    }
}
