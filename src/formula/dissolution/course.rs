//! How far a powder has dissolved at which time of the rub.

use crate::numerics::panel::{self, Cumulative, Values};

/// Halvings of the way up to the middle of the loss: the fines of a wide powder are gone at once, its coarsest grains last.
const DOUBLINGS: i32 = 16;
/// Halvings of what is left up to the last loss: where the water is full there, the time goes to infinity as the logarithm of
/// what is left.
const HALVINGS: i32 = 24;

/// Times by which losses of diameter are reached. The rate hangs on the loss alone, so the time is an integral over it.
pub(super) struct Course {
    start_um: f64,
    last_um: f64,
    /// Seconds over the loss, µm.
    seconds: Cumulative,
}

impl Course {
    /// From the first loss to the last one, at which the water is full or the grains are gone; `rate` gives the loss a second,
    /// µm/s. `None` when nothing dissolves.
    pub fn new(start_um: f64, last_um: f64, rate: impl Fn(f64) -> f64) -> Option<Self> {
        let way = last_um - start_um;
        if way.is_nan() || way <= 1e-9 * last_um || rate(start_um) <= 0.0 {
            return None;
        }
        let rising = (2..=DOUBLINGS).rev().map(|k| 0.5_f64.powi(k));
        let parts = std::iter::once(0.0).chain(rising).chain((1..=HALVINGS).map(|k| 1.0 - 0.5_f64.powi(k)));
        let edges: Vec<f64> = parts.map(|part| start_um + way * part).collect();
        let node = panel::rule().node;
        let slowness = |edge: &[f64]| -> Values {
            node.map(|s| 1.0 / rate(edge[0] + (edge[1] - edge[0]) * s).max(f64::MIN_POSITIVE.sqrt()))
        };
        let values = edges.windows(2).map(slowness).collect();
        Some(Self { start_um, last_um, seconds: Cumulative::new(edges, values) })
    }

    /// Loss at the start, µm.
    pub fn start_um(&self) -> f64 {
        self.start_um
    }

    /// Loss of diameter after a time of rubbing, that in the jar included, µm.
    pub fn loss_at(&self, seconds: f64) -> f64 {
        let share = seconds / self.seconds.total();
        match share {
            s if s <= 0.0 => self.start_um,
            s if s >= 1.0 => self.last_um,
            s => self.seconds.quantile(s).unwrap_or(self.start_um),
        }
    }

    /// The time by which a loss is reached, s; that of all but the last trace for losses beyond.
    pub fn seconds_at(&self, loss_um: f64) -> f64 {
        self.seconds.below(loss_um)
    }
}
