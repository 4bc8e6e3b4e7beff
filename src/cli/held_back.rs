//! Signals that end the program, held back while it writes, so that nothing half done is left.

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag::{register, register_conditional_default, register_usize};
use signal_hook::low_level::emulate_default_handler;
use std::io;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};

struct Signals {
    /// Whether a signal ends the program at once: while nothing is being written, and the second time in any case.
    at_once: Arc<AtomicBool>,
    /// The signal that came meanwhile; 0 for none.
    came: Arc<AtomicUsize>,
    /// How many that hold signals back are within one another.
    held: AtomicUsize,
}

static SIGNALS: OnceLock<Signals> = OnceLock::new();

impl Signals {
    fn new() -> io::Result<Self> {
        let new = Self { at_once: Arc::new(AtomicBool::new(true)), came: Arc::default(), held: AtomicUsize::new(0) };
        for (signal, number) in [(SIGINT, SIGINT as usize), (SIGTERM, SIGTERM as usize)] {
            // In this order, for whoever asks twice does not want to wait any longer.
            register_conditional_default(signal, Arc::clone(&new.at_once))?;
            register_usize(signal, Arc::clone(&new.came), number)?;
            register(signal, Arc::clone(&new.at_once))?;
        }
        Ok(new)
    }
}

/// Does what must not be cut off; a signal that comes meanwhile ends the program afterwards.
pub(super) fn signals_held_back<T>(write: impl FnOnce() -> T) -> T {
    if SIGNALS.get().is_none()
        && let Ok(new) = Signals::new()
    {
        let _ = SIGNALS.set(new);
    }
    // Where the system takes no handler, the next run clears up.
    let Some(signals) = SIGNALS.get() else { return write() };
    if signals.held.fetch_add(1, Ordering::SeqCst) == 0 {
        signals.at_once.store(false, Ordering::SeqCst);
    }
    let done = write();
    if signals.held.fetch_sub(1, Ordering::SeqCst) > 1 {
        return done;
    }
    signals.at_once.store(true, Ordering::SeqCst);
    match i32::try_from(signals.came.swap(0, Ordering::SeqCst)) {
        Ok(signal) if signal != 0 => drop(emulate_default_handler(signal)),
        _ => {}
    }
    done
}
