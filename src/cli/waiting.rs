//! Waiting for a search: a line on standard error with the best so far and the bound, and the time that is up.

use crate::aim::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::sync::Once;
use std::time::{Duration, Instant};

/// Seconds a search takes when nobody says how many; then it gives the best so far.
const UNASKED: u32 = 600;

/// A line on standard error, which shows on a terminal only, and only after a second.
pub(super) struct StatusLine {
    pub bar: ProgressBar,
    start: Instant,
    shown: Once,
}

impl StatusLine {
    /// Counts up to `length`, if there is one, and is written as the template says.
    pub fn new(length: Option<u64>, template: &str) -> Self {
        let bar = ProgressBar::with_draw_target(length, ProgressDrawTarget::hidden());
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Self { bar, start: Instant::now(), shown: Once::new() }
    }

    /// Shows it once a second has gone by.
    pub fn show(&self) {
        if self.start.elapsed() > Duration::from_secs(1) {
            self.shown.call_once(|| self.bar.set_draw_target(ProgressDrawTarget::stderr()));
        }
    }
}

/// How a search stands, and whether its time is up.
pub(super) struct Waiting {
    line: StatusLine,
    seconds: u32,
}

impl Waiting {
    pub fn new(seconds: Option<u32>) -> Self {
        Self { line: StatusLine::new(None, "{spinner} {elapsed}  {msg}"), seconds: seconds.unwrap_or(UNASKED) }
    }

    /// Shows how the search stands; whether there is time left.
    pub fn goes_on(&self, progress: &Progress) -> bool {
        self.line.show();
        if self.line.shown.is_completed() {
            self.line.bar.set_message(words(progress));
            self.line.bar.tick();
        }
        self.line.start.elapsed() < Duration::from_secs(u64::from(self.seconds))
    }

    pub fn end(&self) {
        self.line.bar.finish_and_clear();
    }
}

fn words(progress: &Progress) -> String {
    let best = progress.best.map_or_else(|| "none yet".to_owned(), |best| format!("{best:.4}"));
    let bound = if progress.bound.is_finite() { format!("{:.4}", progress.bound) } else { "unknown".to_owned() };
    format!("best so far {best}, none below {bound}, {} parts open", progress.open)
}
