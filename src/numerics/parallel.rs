//! Numbered pieces of work on all cores, with the results in order: what comes out does not depend on how many cores there are.

#[cfg(feature = "parallel")]
use rayon::prelude::*;

/// `f(0)` to `f(count - 1)`, side by side where the feature `parallel` is on.
pub fn in_order<T: Send>(count: usize, f: impl Fn(usize) -> T + Sync + Send) -> Vec<T> {
    #[cfg(feature = "parallel")]
    return (0..count).into_par_iter().map(f).collect();
    #[cfg(not(feature = "parallel"))]
    return (0..count).map(f).collect();
}
