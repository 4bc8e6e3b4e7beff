//! What a powder is made of where its file names no material: its INCI name, or its name, may be that of a row of the materials table.

use super::plastic::says_beads_alone;
use super::{Powder, PowderError, refuse_forbidden};
use crate::source::{Spelled, substances_of};
use crate::tables::{Material, Tables};
use std::cmp::Reverse;

impl Powder {
    /// Takes what its INCI name, or else its name, says of it: all that hangs on a material, while its numbers stay its own. Of several
    /// rows of one name the gravest counts, with what all of them are flagged for.
    ///
    /// # Errors
    /// [`PowderError::Refused`] for a forbidden material, [`PowderError::OfWhat`] for beads of which nothing says what they are.
    pub fn recognise(&mut self, tables: &Tables) -> Result<(), PowderError> {
        if self.material.is_some() {
            return Ok(());
        }
        self.material = told_by(self.own_inci.as_deref(), &self.name, tables);
        self.recognised = self.material.is_some();
        match &self.material {
            Some(material) => refuse_forbidden(material, &tables.refusals),
            None if self.own_inci.is_none() && says_beads_alone(&self.name) => {
                Err(PowderError::OfWhat { name: self.name.clone() })
            }
            None => Ok(()),
        }
    }

    /// What is to be said of its material where none was named; `None` where one was.
    pub fn about_material(&self) -> Option<String> {
        match &self.material {
            Some(_) if !self.recognised => None,
            Some(material) => Some(format!(
                "no material is named; by its name it is {} of the materials table, which tells whether it is kept off the face, dissolves \
                 or is flagged; its numbers are its own",
                material.key
            )),
            None => Some(
                "no material is named, and none of the materials table goes by its name or INCI name: what hangs on a material was not \
                 judged (whether the trade keeps it off the face, allergens, silica dust, dissolving)"
                    .to_owned(),
            ),
        }
    }
}

fn told_by(inci: Option<&str>, name: &str, tables: &Tables) -> Option<Material> {
    let called = |name: &Spelled| tables.materials.iter().filter(|m| m.is_called(name)).collect::<Vec<_>>();
    let parts = inci.map(substances_of).unwrap_or_default();
    let mut rows: Vec<&Material> = parts.iter().flat_map(|part| called(&Material::as_called(part))).collect();
    // "Sea salt, fine" is sea salt.
    for name in [name, name.split(',').next().unwrap_or(name)] {
        if rows.is_empty() {
            rows = called(&Material::as_called(name));
        }
    }
    let gravity = |m: &Material| (m.refused_by.is_some(), m.not_on_face().is_some(), m.dissolves(), m.flags.len());
    let mut gravest = (*rows.iter().min_by_key(|m| Reverse(gravity(m)))?).clone();
    for flag in rows.iter().flat_map(|m| &m.flags) {
        if !gravest.is_flagged(flag) {
            gravest.flags.push(flag.clone());
        }
    }
    Some(gravest)
}
