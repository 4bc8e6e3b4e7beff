//! Pieces of work on all cores, with the results in order: what comes out does not depend on how many cores there are. Where the system
//! lets no thread start, the work is done by the one at hand.

#[cfg(feature = "parallel")]
use rayon::prelude::*;

/// `f(0)` to `f(count - 1)`, side by side where the feature `parallel` is on.
pub fn in_order<T: Send>(count: usize, f: impl Fn(usize) -> T + Sync + Send) -> Vec<T> {
    each((0..count).collect(), f)
}

/// `f` of each piece, in their order, side by side where the feature `parallel` is on.
pub fn each<P: Send, T: Send>(pieces: Vec<P>, f: impl Fn(P) -> T + Sync + Send) -> Vec<T> {
    #[cfg(feature = "parallel")]
    if has_threads() {
        return pieces.into_par_iter().map(f).collect();
    }
    pieces.into_iter().map(f).collect()
}

/// Whether the threads of the pool could be started; a pool that another crate has made serves as well.
#[cfg(feature = "parallel")]
fn has_threads() -> bool {
    use std::error::Error;
    static STARTED: std::sync::LazyLock<bool> = std::sync::LazyLock::new(|| {
        // An error of the system is the source of another; that the pool is there already has none.
        rayon::ThreadPoolBuilder::new().build_global().err().is_none_or(|e| e.source().is_none())
    });
    *STARTED
}
