//! Which grains do the work: load and depth-weighted removal along the size axis, at the reference rub.

use super::contact::contact_at;
use super::model::{RubModel, Rubbed};
use super::population::Grains;
use crate::numerics::panel::Cumulative;
use crate::numerics::roots;
use gritwise_kernel::groove::{edge_keeping, keenness, relative_depth, relative_section};
use gritwise_kernel::squeeze;

/// An index under this comes from the last few grains of a tail that a law draws without end; it has no sizes to show.
const LEAST_INDEX: f64 = 0.01;

/// The rub spread over grain sizes.
pub struct Work<'a> {
    powders: Vec<PowderWork<'a>>,
}

struct PowderWork<'a> {
    grains: &'a Grains,
    keenness: f64,
    gap_um: f64,
    /// What one unit of ∫ q/x dQ3 is of the whole load.
    load_scale: f64,
    /// What one unit of ∫ x (A/r²) (g/r)² dQ3 is of the whole index.
    index_scale: f64,
    index: Cumulative,
}

impl<'a> Work<'a> {
    /// Spreads a rubbed scrub over sizes; `None` when no grain touches, or so few that the index is next to nothing.
    pub fn new(model: &RubModel, rubbed: &'a Rubbed) -> Option<Self> {
        let constants = model.constants();
        let contact = contact_at(model.reference_site(), constants);
        let gap_um = rubbed.reference().gap_um;
        let mut powders: Vec<PowderWork> = rubbed
            .population
            .grains
            .iter()
            .zip(&rubbed.volumes)
            .map(|(grains, volume)| {
                let roundness = grains.roundness();
                let keenness = keenness(&contact, roundness, constants.horn_hardness_mpa);
                let index = grains.panels().cumulative(|x| severity(x, gap_um, keenness));
                let edge = edge_keeping(grains.hardness_gpa(), constants.half_kept_gpa());
                let index_scale = volume * edge * roundness.powi(4);
                PowderWork { grains, keenness, gap_um, load_scale: *volume, index_scale, index }
            })
            .collect();
        let load: f64 =
            powders.iter().map(|p| p.load_scale * p.grains.panels().integrate(|x| squeeze(gap_um, 1.0 / x) / x)).sum();
        let index: f64 = powders.iter().map(|p| p.index_scale * p.index.total()).sum();
        for p in &mut powders {
            p.load_scale /= load;
            p.index_scale /= index;
        }
        (load > 0.0 && index > 0.0 && rubbed.index >= LEAST_INDEX).then_some(Self { powders })
    }

    /// Share of the index per unit of ln x, and share of the load, at ln (x / µm).
    pub fn densities_ln(&self, ln_x: f64) -> (f64, f64) {
        let x = ln_x.exp();
        self.powders.iter().fold((0.0, 0.0), |(index, load), p| {
            let volume = p.grains.distribution().density_ln(ln_x);
            (
                index + p.index_scale * volume * severity(x, p.gap_um, p.keenness),
                load + p.load_scale * volume * squeeze(p.gap_um, 1.0 / x) / x,
            )
        })
    }

    /// Size in µm below which the share `p` (0..1) of the index comes from.
    pub fn index_quantile_um(&self, p: f64) -> f64 {
        let ends = self.powders.iter().filter_map(|w| w.index.quantile(p));
        let (lo, hi) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), x| (lo.min(x), hi.max(x)));
        let below = |ln_x: f64| self.powders.iter().map(|w| w.index_scale * w.index.below(ln_x)).sum::<f64>() - p;
        roots::brent(below, lo, hi, 1e-10).unwrap_or(lo).exp()
    }
}

/// n A g² of a size, without its scale: x (A/r²) (g/r)².
fn severity(size_um: f64, gap_um: f64, keenness: f64) -> f64 {
    let u2 = keenness * squeeze(gap_um, 1.0 / size_um);
    let depth = relative_depth(u2);
    size_um * relative_section(u2) * depth * depth
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blend::Blend;
    use crate::powder::invented::{gpa, grains, log_normal};
    use crate::rub::Population;
    use crate::tables::Tables;
    use crate::units::Parts;
    use approx::assert_relative_eq;

    #[test]
    fn shares_of_load_and_index_over_all_sizes_are_one() {
        let tables = Tables::built_in().unwrap();
        let model = RubModel::new(&tables).unwrap();
        let powder = |median_um: f64, hardness: f64, parts: f64| {
            let powder = grains("grains", 1.35, gpa(hardness), 0.35, log_normal(median_um, 1.4), &tables);
            (powder, Parts::new(parts).unwrap())
        };
        let blend = Blend::new(vec![powder(80.0, 0.4, 3.0), powder(250.0, 0.2, 1.0)]).unwrap();
        let rubbed = model.evaluate(&Population::new(&blend, model.floor_um()), &blend.mass_shares(), 0.05);
        let work = Work::new(&model, &rubbed).unwrap();
        let (low, high, steps) = (5.0_f64.ln(), 3000.0_f64.ln(), 20_000);
        let step = (high - low) / f64::from(steps);
        let sums = (0..steps).map(|i| work.densities_ln(low + step * (f64::from(i) + 0.5)));
        let (index, load) = sums.fold((0.0, 0.0), |sum, at| (sum.0 + step * at.0, sum.1 + step * at.1));
        assert_relative_eq!(index, 1.0, max_relative = 1e-3);
        assert_relative_eq!(load, 1.0, max_relative = 1e-3);
    }
}
