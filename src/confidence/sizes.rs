//! How the sizes of one powder are drawn: as a warp of the ln x axis, so that percentiles move together and never cross.

use super::sieving::{LEAST_STRETCH, SievedDraw};
use crate::numerics::normal;
use crate::numerics::spread::Spread;
use crate::powder::{Powder, SizeRange};
use crate::size::{OneFigure, SizeDistribution, SizeForm, SizeRecord, Warp};
use crate::tables::Tables;

/// The widest spread of ln stretch: what a very narrow powder would get is no longer a tolerance.
const MOST_STRETCH_SD: f64 = 0.5;

/// How the sizes of a powder are drawn. Each needs [`SizeDraw::COORDINATES`] coordinates of the unit cube.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum SizeDraw {
    /// A shift of all sizes, and a stretch about the median, with their standard deviations; and where an open top ends.
    Tolerance { pivot_ln: f64, shift: f64, stretch: f64, top: Option<Top> },
    /// A log-normal whose shares outside two bounds are drawn; the bounds stand.
    Tails { median_ln: f64, sigma: f64, bounds_ln: [f64; 2], outside_pct: [Spread; 2] },
    /// A log-normal of which one figure is known: the figure, the share that is coarser, and how wide it is, all drawn.
    Figure { median_ln: f64, stated_ln: f64, sigma: f64, at: Spread, coarser_pct: Spread, gsd: Spread },
    /// A law: its size, and the number that says how wide it is.
    Law { location_ln: f64, size: Spread, width: Spread, kind: Width },
    /// Percentiles, the middle one and one on either side, each with a spread of its own, the outer ones with a correlation with
    /// the middle one.
    Percentiles { middle: Spread, outer: [Option<Spread>; 2], correlation: f64 },
    /// What the maker's own sieves leave of a powder that is drawn so.
    Sieved { before: Box<SizeDraw>, kept: Box<SievedDraw> },
}

/// The end of the class above the coarsest sieve, which nobody measured.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Top {
    /// The coarsest opening, ln µm.
    from_ln: f64,
    /// Where the class ends, µm; its stated value is the one that is assumed.
    end: Spread,
}

impl Top {
    fn new(record: &SizeRecord, tables: &Tables) -> Option<Self> {
        let open = record.open_top_above(tables.draws.open_top_share())?;
        let factors = [tables.draws.open_top_least_factor, tables.draws.open_top_most_factor];
        let [least, most] = factors.map(|factor| open.from_um * factor);
        let end = Spread::log_uniform(open.assumed_um, least.min(open.assumed_um), most.max(open.assumed_um));
        Some(Self { from_ln: open.from_um.ln(), end })
    }

    /// Stretch of what lies above the coarsest opening.
    fn stretch(&self, u: f64) -> f64 {
        let [drawn, assumed] = [u, 0.5].map(|u| self.end.at(u).ln() - self.from_ln);
        (drawn / assumed).max(LEAST_STRETCH)
    }
}

/// What a law's second number is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Width {
    /// The geometric standard deviation.
    Gsd,
    /// An exponent: the larger, the narrower.
    Exponent,
}

impl SizeDraw {
    /// Coordinates that a draw takes.
    pub const COORDINATES: usize = 3;

    /// From what is known of a powder's sizes.
    pub fn new(powder: &Powder, tables: &Tables) -> Self {
        Self::of(&powder.size, &powder.size_ranges, tables)
    }

    fn of(record: &SizeRecord, ranges: &[SizeRange], tables: &Tables) -> Self {
        if let Some(sieved) = &record.sieved {
            let before = Box::new(Self::of(&sieved.of, ranges, tables));
            return Self::Sieved { before, kept: Box::new(SievedDraw::new(record, sieved)) };
        }
        let [median, outer] = tolerance(&record.distribution, record.form, tables);
        if let SizeForm::Range { undersize_pct, oversize_pct, stated } = record.form {
            return tails(record, [undersize_pct, oversize_pct], stated, ranges, tables);
        }
        if let SizeForm::OneFigure(known) = record.form {
            return figure(&record.distribution, &known, median, tables);
        }
        if ranges.is_empty() {
            return plain(record, median, outer, tables);
        }
        match record.distribution.law() {
            Some(law) => {
                let (location_ln, slope) = law.location_and_slope();
                let own = |is_size: bool| ranges.iter().find(|r| r.key.ends_with("_um") == is_size);
                let (width, kind) = law.gsd().map_or((slope, Width::Exponent), |gsd| (gsd, Width::Gsd));
                let wide = half_width(&record.distribution);
                let stretch = ((outer * outer - median * median).max(0.0).sqrt() / wide).min(MOST_STRETCH_SD);
                // ln gsd grows with the stretch, the exponent falls with it: both by the same factor.
                let default = match kind {
                    Width::Gsd => spread(width, width.powf((-stretch).exp()), width.powf(stretch.exp())),
                    Width::Exponent => spread(width, width * (-stretch).exp(), width * stretch.exp()),
                };
                let size = location_ln.exp();
                Self::Law {
                    location_ln,
                    size: own(true).map_or(spread(size, size * (-median).exp(), size * median.exp()), given),
                    width: own(false).map_or(default, given),
                    kind,
                }
            }
            None => percentiles(record, ranges, median, outer, tables),
        }
    }

    /// Of a curve whose D50, and D10 and D90, stray by these standard deviations of ln, and its open top with them.
    pub fn straying(record: &SizeRecord, [median, outer]: [f64; 2], tables: &Tables) -> Self {
        match &record.sieved {
            Some(sieved) => {
                let before = Box::new(Self::straying(&sieved.of, [median, outer], tables));
                Self::Sieved { before, kept: Box::new(SievedDraw::new(record, sieved)) }
            }
            None => plain(record, median, outer, tables),
        }
    }

    /// The warp at a point of the unit cube, every sieve cutting at its opening.
    pub fn warp(&self, u: &[f64]) -> Warp {
        self.warp_cut(u, [0.0; 2])
    }

    /// The same with the maker's sieves cutting this far from their openings on the ln x axis, on the fine and on the coarse side.
    pub fn warp_cut(&self, u: &[f64], off_ln: [f64; 2]) -> Warp {
        match self {
            Self::Sieved { before, kept } => kept.warp(&before.warp(u), off_ln),
            Self::Tolerance { pivot_ln, shift, stretch, top } => {
                let stretch = (stretch * normal::quantile(u[1])).exp();
                let shift = shift * normal::quantile(u[0]);
                match top {
                    None => Warp { pivot_ln: *pivot_ln, shift, below: stretch, above: stretch },
                    // The same shift and stretch, seen from the coarsest opening, above which there is a stretch more.
                    Some(top) => Warp {
                        pivot_ln: top.from_ln,
                        shift: shift + (stretch - 1.0) * (top.from_ln - pivot_ln),
                        below: stretch,
                        above: stretch * top.stretch(u[2]),
                    },
                }
            }
            Self::Tails { median_ln, sigma, bounds_ln, outside_pct } => {
                let z_low = normal::quantile(outside_pct[0].at(u[0]) / 100.0);
                let z_high = -normal::quantile(outside_pct[1].at(u[1]) / 100.0);
                let drawn = (bounds_ln[1] - bounds_ln[0]) / (z_high - z_low);
                let shift = bounds_ln[0] - z_low * drawn - median_ln;
                Warp { pivot_ln: *median_ln, shift, below: drawn / sigma, above: drawn / sigma }
            }
            Self::Figure { median_ln, stated_ln, sigma, at, coarser_pct, gsd } => {
                let drawn = gsd.at(u[1]).ln();
                let drawn_ln = at.at(u[0]).ln() + drawn * normal::quantile(coarser_pct.at(u[2]) / 100.0);
                let stretch = drawn / sigma;
                Warp { pivot_ln: *median_ln, shift: drawn_ln - stated_ln, below: stretch, above: stretch }
            }
            Self::Law { location_ln, size, width, kind } => {
                let (at, stated) = (width.at(u[1]), width.at(0.5));
                let stretch = match kind {
                    Width::Gsd => (at.ln() / stated.ln()).max(LEAST_STRETCH),
                    Width::Exponent => stated / at,
                };
                Warp { pivot_ln: *location_ln, shift: size.at(u[0]).ln() - location_ln, below: stretch, above: stretch }
            }
            Self::Percentiles { middle, outer, correlation } => {
                let z = normal::quantile(u[0]);
                let (pivot_ln, shift) = (middle.at_z(0.0).ln(), middle.at_z(z).ln() - middle.at_z(0.0).ln());
                let stretch = |side: usize| {
                    let spread = outer[side].as_ref()?;
                    let own = normal::quantile(u[1 + side]);
                    let moved = spread.at_z(correlation * z + (1.0 - correlation * correlation).sqrt() * own).ln();
                    Some(((moved - pivot_ln - shift) / (spread.at_z(0.0).ln() - pivot_ln)).max(LEAST_STRETCH))
                };
                let (below, above) = (stretch(0), stretch(1));
                let both = [below, above].map(|side| side.or(below).or(above).unwrap_or(1.0));
                Warp { pivot_ln, shift, below: both[0], above: both[1] }
            }
        }
    }
}

/// Half of ln (D90 / D10).
fn half_width(distribution: &SizeDistribution) -> f64 {
    0.5 * (distribution.quantile(0.9) / distribution.quantile(0.1)).ln()
}

/// Standard deviations of ln D50, and of ln D10 and ln D90, that the form of the data has; fine sizes are known less well.
pub(crate) fn tolerance(distribution: &SizeDistribution, form: SizeForm, tables: &Tables) -> [f64; 2] {
    let [median, outer] = tables.draws.sizes(form);
    let at =
        |p: f64| if distribution.quantile(p) < tables.draws.fine_below_um { tables.draws.fine_factor } else { 1.0 };
    [median * at(0.5), outer * 0.5 * (at(0.1) + at(0.9))]
}

/// The whole curve shifted and stretched, so that D50, D10 and D90 stray as they should, and an open top drawn.
fn plain(record: &SizeRecord, median: f64, outer: f64, tables: &Tables) -> SizeDraw {
    let distribution = &record.distribution;
    let stretch = (outer * outer - median * median).max(0.0).sqrt() / half_width(distribution);
    let pivot_ln = distribution.quantile(0.5).ln();
    SizeDraw::Tolerance {
        pivot_ln,
        shift: median,
        stretch: stretch.min(MOST_STRETCH_SD),
        top: Top::new(record, tables),
    }
}

/// A range that was given: 5 % below, 5 % above.
fn given(range: &SizeRange) -> Spread {
    Spread::log_normal(range.value, range.range.low, range.range.high)
}

/// A spread with its ends one standard deviation away.
fn spread(value: f64, low: f64, high: f64) -> Spread {
    Spread::LogNormal { median: value, below: (value / low).ln(), above: (high / value).ln() }
}

fn tails(record: &SizeRecord, outside: [f64; 2], stated: [bool; 2], ranges: &[SizeRange], tables: &Tables) -> SizeDraw {
    let Some(law) = record.distribution.law() else { return plain(record, 0.0, 0.0, tables) };
    let (median_ln, slope) = law.location_and_slope();
    let sigma = 1.0 / slope;
    let tail = &tables.constants.range_tail_pct;
    let factor = tables.draws.stated_tail_factor;
    let of = |side: usize, key: &str| match ranges.iter().find(|r| r.key == key) {
        Some(range) => given(range),
        None if !stated[side] => {
            Spread::log_uniform(outside[side], tail.low.min(outside[side]), tail.high.max(outside[side]))
        }
        None => Spread::log_uniform(outside[side], outside[side] / factor, outside[side] * factor),
    };
    let z = [normal::quantile(outside[0] / 100.0), -normal::quantile(outside[1] / 100.0)];
    SizeDraw::Tails {
        median_ln,
        sigma,
        bounds_ln: z.map(|z| median_ln + z * sigma),
        outside_pct: [of(0, "undersize_pct"), of(1, "oversize_pct")],
    }
}

/// One figure. A bound is as far off as the grade is (`median`, a standard deviation of ln); of a share that is assumed, as much is
/// drawn outside as of mesh and micron ranges.
fn figure(distribution: &SizeDistribution, known: &OneFigure, median: f64, tables: &Tables) -> SizeDraw {
    let [low, gsd, high] = known.gsd;
    let at = match known.give_um {
        0.0 => spread(known.at_um, known.at_um * (-median).exp(), known.at_um * median.exp()),
        give => Spread::log_normal(known.at_um, known.at_um - give, known.at_um + give),
    };
    // Shares are drawn by the smaller side, which is what a factor is of.
    let coarser = known.coarser_pct;
    let small = coarser.min(100.0 - coarser);
    let tail = &tables.constants.range_tail_pct;
    let factor = tables.draws.stated_tail_factor;
    let [least, most] = if !known.share_stated {
        [tail.low.min(small), tail.high.max(small)]
    } else if small > 25.0 {
        [small, small]
    } else {
        [small / factor, small * factor]
    };
    let coarser_pct = if coarser <= 50.0 {
        Spread::log_uniform(coarser, least, most)
    } else {
        Spread::log_uniform(coarser, 100.0 - most, 100.0 - least)
    };
    SizeDraw::Figure {
        median_ln: distribution.quantile(0.5).ln(),
        stated_ln: known.median_um(gsd).ln(),
        sigma: gsd.ln(),
        at,
        coarser_pct,
        // Never at or below 1, as the ends are the last.
        gsd: Spread::log_uniform(gsd, low, high),
    }
}

/// Percentiles of which some have a range. The middle one is D50, or of those listed the one in the middle; on either side counts the
/// outermost with a range, or else the outermost.
fn percentiles(record: &SizeRecord, ranges: &[SizeRange], median: f64, outer: f64, tables: &Tables) -> SizeDraw {
    let listed = &record.points;
    let own = |size: f64| ranges.iter().find(|r| r.value == size);
    let with = |size: f64, sd: f64| own(size).map_or(spread(size, size * (-sd).exp(), size * sd.exp()), given);
    let middle = listed.iter().position(|p| p.1 == 0.5).unwrap_or(listed.len() / 2);
    let Some(&(size, _)) = listed.get(middle) else { return plain(record, median, outer, tables) };
    let outermost = |side: &[(f64, f64)], reversed: bool| {
        let mut sizes: Vec<f64> = side.iter().map(|p| p.0).collect();
        if reversed {
            sizes.reverse();
        }
        let chosen = sizes.iter().find(|s| own(**s).is_some()).or(sizes.first());
        chosen.map(|s| with(*s, outer))
    };
    SizeDraw::Percentiles {
        middle: with(size, median),
        outer: [outermost(&listed[..middle], false), outermost(&listed[middle + 1..], true)],
        correlation: tables.draws.percentile_correlation,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::powder::Range;
    use crate::size::law::Law;
    use crate::size::table::{self, TableKind};
    use crate::units::Micrometres;
    use approx::assert_relative_eq;

    /// A sieve table with a fifth of the powder on its coarsest sieve.
    fn open_topped(tables: &Tables) -> SizeRecord {
        let text = "opening_um,retained_g\n250,20\n180,30\n125,30\npan,20\n";
        table::read(text, "lot.csv", Some(TableKind::Sieve), &tables.standards).unwrap()
    }

    #[test]
    fn an_open_top_is_drawn_and_nothing_below_it_moves_with_it() {
        let tables = Tables::built_in().unwrap();
        let record = open_topped(&tables);
        // 250 µm stands in the R20/3 series of ISO 3310-1: the next opening is 355 µm.
        assert_eq!(record.open_top().unwrap().assumed_um, 355.0);
        let draw = plain(&record, 0.03, 0.05, &tables);
        let ends = |u: f64| draw.warp(&[0.5, 0.5, u]);
        for (u, top_um) in [(0.0, 262.5), (0.5, 355.0), (1.0, 500.0)] {
            let warp = ends(u);
            assert_relative_eq!(warp.forward(355.0_f64.ln()).exp(), top_um, max_relative = 1e-9);
            for below in [70.0_f64, 125.0, 180.0, 250.0] {
                assert_relative_eq!(warp.forward(below.ln()).exp(), below, max_relative = 1e-9);
            }
        }
    }

    #[test]
    fn shift_and_stretch_are_about_the_median_with_an_open_top_as_without() {
        let tables = Tables::built_in().unwrap();
        let open = open_topped(&tables);
        let closed = open.closed_at(Micrometres::new(355.0).unwrap(), &tables.standards).unwrap();
        let [open, closed] = [&open, &closed].map(|r| plain(r, 0.03, 0.05, &tables).warp(&[0.2, 0.9, 0.5]));
        for size in [70.0_f64, 125.0, 180.0, 250.0, 340.0] {
            assert_relative_eq!(open.forward(size.ln()), closed.forward(size.ln()), max_relative = 1e-9);
        }
        assert_eq!(closed.below, closed.above);
    }

    /// Median of a log-normal spread, and its standard deviations of ln.
    fn log_normal(spread: &Spread) -> [f64; 3] {
        let Spread::LogNormal { median, below, above } = spread else { panic!("{spread:?}") };
        [*median, *below, *above]
    }

    #[test]
    fn ends_of_a_spread_are_one_standard_deviation_away() {
        // Derived: ln(100/80) and ln(150/100); ln D90 of a log-normal is 1.281552 (normal tables) ln gsd above ln D50.
        let [median, below, above] = log_normal(&spread(100.0, 80.0, 150.0));
        assert_eq!(median, 100.0);
        assert_relative_eq!(below, 1.25_f64.ln(), max_relative = 1e-12);
        assert_relative_eq!(above, 1.5_f64.ln(), max_relative = 1e-12);
        let law = Law::log_normal(Micrometres::new(100.0).unwrap(), 1.5).unwrap();
        assert_relative_eq!(half_width(&law.into()), 1.281_552 * 1.5_f64.ln(), max_relative = 1e-6);
    }

    #[test]
    fn the_outermost_percentile_on_either_side_of_the_median_is_drawn() {
        let tables = Tables::built_in().unwrap();
        let drawn = |points: &[(f64, f64)]| {
            let record = SizeRecord { points: points.to_vec(), ..open_topped(&tables) };
            let draw = percentiles(&record, &[], 0.05, 0.1, &tables);
            let SizeDraw::Percentiles { middle, outer, .. } = draw else { panic!("{draw:?}") };
            (log_normal(&middle), outer.map(|spread| spread.map(|s| log_normal(&s))))
        };
        let (middle, outer) = drawn(&[(100.0, 0.05), (120.0, 0.1), (170.0, 0.5), (230.0, 0.9)]);
        // One standard deviation of ln is 0.05 at the median and 0.1 beside it, as asked for.
        for (drawn, [um, sd]) in [(Some(middle), [170.0, 0.05]), (outer[0], [100.0, 0.1]), (outer[1], [230.0, 0.1])] {
            for (own, wanted) in drawn.unwrap().iter().zip([um, sd, sd]) {
                assert_relative_eq!(*own, wanted, max_relative = 1e-9);
            }
        }
        assert_eq!(drawn(&[(120.0, 0.1), (170.0, 0.5)]).1[1], None);
        assert_eq!(drawn(&[(170.0, 0.5), (230.0, 0.9)]).1[0], None);
        // Without a D50 the one in the middle of the list takes its place, with one more below it where they are even.
        let places = |points: &[(f64, f64)]| {
            let (middle, outer) = drawn(points);
            [middle, outer[0].unwrap(), outer[1].unwrap()].map(|known| known[0].round())
        };
        assert_eq!(places(&[(100.0, 0.1), (150.0, 0.4), (180.0, 0.6)]), [150.0, 100.0, 180.0]);
        assert_eq!(places(&[(100.0, 0.1), (150.0, 0.4), (180.0, 0.6), (240.0, 0.9)]), [180.0, 100.0, 240.0]);
    }

    #[test]
    fn a_share_beyond_a_bound_is_drawn_by_its_own_range_or_by_a_factor() {
        let tables = Tables::built_in().unwrap();
        let law = Law::log_normal(Micrometres::new(100.0).unwrap(), 1.5).unwrap();
        let record = SizeRecord::from_distribution(law.into(), "test");
        let range = SizeRange { key: "oversize_pct".into(), value: 4.0, range: Range { low: 2.0, high: 9.0 } };
        let draw = tails(&record, [5.0, 4.0], [true; 2], std::slice::from_ref(&range), &tables);
        let SizeDraw::Tails { bounds_ln, outside_pct, .. } = draw else { panic!("{draw:?}") };
        let by = tables.draws.stated_tail_factor;
        assert_eq!(outside_pct, [Spread::log_uniform(5.0, 5.0 / by, 5.0 * by), given(&range)]);
        // Normal tables: 5 % lie below -1.644854, 4 % above 1.750686.
        for (bound, z) in bounds_ln.iter().zip([-1.644_854, 1.750_686]) {
            assert_relative_eq!(*bound, 100.0_f64.ln() + z * 1.5_f64.ln(), max_relative = 1e-6);
        }
    }

    #[test]
    fn the_width_of_a_law_strays_as_its_outer_percentiles_do_beside_the_median() {
        let tables = Tables::built_in().unwrap();
        let law = Law::log_normal(Micrometres::new(100.0).unwrap(), 1.5).unwrap();
        let record = SizeRecord::from_distribution(law.into(), "test");
        let range = SizeRange { key: "d50_um".into(), value: 100.0, range: Range { low: 90.0, high: 115.0 } };
        let draw = SizeDraw::of(&record, std::slice::from_ref(&range), &tables);
        let SizeDraw::Law { size, width, kind: Width::Gsd, .. } = draw else { panic!("{draw:?}") };
        assert_eq!(size, given(&range));
        // By hand: a stated D50 strays by 8 %, D10 and D90 by 12 % (draws.csv). What the latter have beyond the former stretches half of
        // ln (D90 / D10), which is 1.281552 ln gsd (normal tables).
        let wide = 1.5_f64.ln();
        let stretch = (1.12_f64.ln().powi(2) - 1.08_f64.ln().powi(2)).sqrt() / (1.281_552 * wide);
        for (own, wanted) in
            log_normal(&width).iter().zip([1.5, wide * (1.0 - (-stretch).exp()), wide * stretch.exp_m1()])
        {
            assert_relative_eq!(*own, wanted, max_relative = 1e-6);
        }
    }

    #[test]
    fn one_figure_strays_either_way_by_what_was_said_or_as_its_grade_does() {
        let tables = Tables::built_in().unwrap();
        let law = Law::log_normal(Micrometres::new(100.0).unwrap(), 1.5).unwrap();
        let distribution: SizeDistribution = law.into();
        let at = |give_um: f64| {
            let gsd = [1.3, 1.5, 1.8];
            let known = OneFigure { at_um: 100.0, give_um, coarser_pct: 50.0, share_stated: true, gsd };
            match figure(&distribution, &known, 0.08, &tables) {
                SizeDraw::Figure { at, .. } => at,
                other => panic!("{other:?}"),
            }
        };
        for (own, wanted) in log_normal(&at(0.0)).iter().zip([100.0, 0.08, 0.08]) {
            assert_relative_eq!(*own, wanted, max_relative = 1e-9);
        }
        assert_eq!(at(10.0), Spread::log_normal(100.0, 90.0, 110.0));
    }
}
