//! A clock that stands still. The solver of linear programs asks `web-time` how long it has been at work, to hold itself to a limit of
//! time that nobody here sets; that crate would tie the module to a browser for it. Nothing here reads a clock, and so no result can
//! depend on one. This holds what the solver uses of it.

pub use std::time::Duration;

/// A moment: always the same, but for what is added to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Instant(Duration);

impl Instant {
    /// The moment at which the clock stands.
    pub fn now() -> Self {
        Self(Duration::ZERO)
    }

    /// No time passes.
    pub fn elapsed(&self) -> Duration {
        Duration::ZERO
    }

    /// A later moment; none that is beyond counting.
    pub fn checked_add(&self, duration: Duration) -> Option<Self> {
        self.0.checked_add(duration).map(Self)
    }
}
