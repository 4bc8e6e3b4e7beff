//! Waiting for a search: a line on standard error with the best so far and the bound, and the time that is up.

use crate::aim::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::sync::Once;
use std::time::{Duration, Instant};

/// Seconds a search takes when nobody says how many; then it gives the best so far.
const UNASKED: u32 = 600;

/// Shows on a terminal only, and only after a second.
pub(super) struct Waiting {
    bar: ProgressBar,
    start: Instant,
    seconds: u32,
    shown: Once,
}

impl Waiting {
    pub fn new(seconds: Option<u32>) -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
        if let Ok(style) = ProgressStyle::with_template("{spinner} {elapsed}  {msg}") {
            bar.set_style(style);
        }
        Self { bar, start: Instant::now(), seconds: seconds.unwrap_or(UNASKED), shown: Once::new() }
    }

    /// Shows how the search stands; whether there is time left.
    pub fn goes_on(&self, progress: &Progress) -> bool {
        if self.start.elapsed() > Duration::from_secs(1) {
            self.shown.call_once(|| self.bar.set_draw_target(ProgressDrawTarget::stderr()));
            self.bar.set_message(words(progress));
            self.bar.tick();
        }
        self.start.elapsed() < Duration::from_secs(u64::from(self.seconds))
    }

    pub fn end(&self) {
        self.bar.finish_and_clear();
    }
}

fn words(progress: &Progress) -> String {
    let best = progress.best.map_or_else(|| "none yet".to_owned(), |best| format!("{best:.4}"));
    let bound = if progress.bound.is_finite() { format!("{:.4}", progress.bound) } else { "unknown".to_owned() };
    format!("best so far {best}, none below {bound}, {} parts open", progress.open)
}
