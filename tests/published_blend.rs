//! Blending: two aggregate stocks of a published gradation report, and what unlike densities do.

use crate::common::{assert_close, blend, powder, rounded, um};
use gritwise::blend::Basis;
use gritwise::size::SizeDistribution;

/// Knots through every measured point, with a lower knot (assumed) and a top knot at which all has passed.
fn measured(points: &[(f64, f64)], lowest_um: f64, top_um: f64) -> SizeDistribution {
    let ends = [(lowest_um, 0.0), (top_um, 100.0)];
    let knots = ends[..1].iter().chain(points).chain(&ends[1..]);
    SizeDistribution::measured(&knots.map(|&(x, pct)| (um(x), pct / 100.0)).collect::<Vec<_>>()).unwrap()
}

#[test]
fn aggregate_stocks_85_to_15() {
    // Gradation report of a public road authority, 2025-12-01: two stocks blended 85:15. Opening in µm, % passing of each
    // stock, combined % passing as printed, decimals of that, limits of the target.
    type Row = (f64, f64, f64, f64, i32, Option<(f64, f64)>);
    const REPORT: [Row; 10] = [
        (75.0, 4.379, 13.69, 5.8, 1, Some((2.7, 6.7))),
        (150.0, 6.69, 17.36, 8.0, 0, None),
        (300.0, 10.38, 24.75, 13.0, 0, None),
        (600.0, 14.74, 32.65, 17.0, 0, Some((12.0, 20.0))),
        (1180.0, 21.4, 42.23, 25.0, 0, None),
        (2360.0, 32.83, 56.21, 36.0, 0, Some((29.0, 39.0))),
        (4750.0, 52.78, 79.47, 57.0, 0, Some((48.0, 58.0))),
        (9500.0, 77.34, 98.0, 80.0, 0, None),
        (12_500.0, 87.36, 100.0, 89.0, 0, Some((80.0, 92.0))),
        (19_000.0, 98.76, 100.0, 99.0, 0, Some((91.0, 100.0))),
    ];
    let stock = |name: &str, column: fn(&Row) -> f64| {
        let points: Vec<_> = REPORT.iter().map(|r| (r.0, column(r))).collect();
        powder(name, 2.65, 5.0, 0.3, measured(&points, 1.0, 25_000.0))
    };
    let blended = blend(vec![(stock("A", |r| r.1), 85.0), (stock("B", |r| r.2), 15.0)]);
    let openings = REPORT.map(|r| r.0);
    let (stocks, combined) = blended.undersize_curves(Basis::Mass, &openings);
    for (i, (opening, a, b, printed, decimals, limits)) in REPORT.into_iter().enumerate() {
        let what = format!("road-authority report of 2025-12-01, {opening} µm");
        let passing = 100.0 * blended.undersize(Basis::Mass, opening);
        assert_eq!(rounded(passing, decimals), printed, "{what}: combined {passing}");
        assert_close(&format!("{what}: unrounded (derived)"), passing, 0.85 * a + 0.15 * b, 1e-12);
        assert!(limits.is_none_or(|(low, high)| low <= passing && passing <= high), "{what}: limits of the target");
        assert_close(
            "of equal densities volume is mass",
            100.0 * blended.undersize(Basis::Volume, opening),
            passing,
            1e-12,
        );
        assert_close("the matrix of curves", 100.0 * stocks[(i, 0)], a, 1e-12);
        assert_close("the blend of the matrix", 100.0 * combined[i], passing, 1e-12);
        assert_close("and back", blended.quantile(Basis::Mass, passing / 100.0), opening, 1e-8);
    }
}

#[test]
fn unlike_densities_part_mass_from_volume() {
    // Derived, by hand. Equal masses of densities 1 and 3: a gram holds 1/2 + 1/6 cm³, so the light powder has 3/4 of the
    // volume, and the blend's density is 1.5. At 100 µm 20 and 80 % are finer, so 50 % by mass, 35 % by volume.
    let light = powder("light", 1.0, 1.0, 0.5, measured(&[(100.0, 20.0)], 50.0, 200.0));
    let heavy = powder("heavy", 3.0, 1.0, 0.5, measured(&[(100.0, 80.0)], 50.0, 200.0));
    let even = blend(vec![(light.clone(), 2.0), (heavy.clone(), 2.0)]);
    for (component, volume) in even.components().iter().zip([0.75, 0.25]) {
        assert_close("derived: mass share", component.mass, 0.5, 1e-15);
        assert_close("derived: volume share", component.volume, volume, 1e-15);
    }
    assert_close("derived: density", even.density_g_cm3(), 1.5, 1e-15);
    assert_close("derived: % finer by mass", even.undersize(Basis::Mass, 100.0), 0.5, 1e-12);
    assert_close("derived: % finer by volume", even.undersize(Basis::Volume, 100.0), 0.35, 1e-12);
    assert_close("derived: D35 by volume", even.quantile(Basis::Volume, 0.35), 100.0, 1e-9);
    assert_close("derived: D50 by mass", even.quantile(Basis::Mass, 0.5), 100.0, 1e-9);
    // Three parts of the heavy to one of the light by mass are equal volumes: D[4,3] is then the plain mean of the two.
    let of = |p: &gritwise::powder::Powder| p.size.distribution.moment(1).unwrap();
    let mean = 0.5 * (of(&light) + of(&heavy));
    let equal_volumes = blend(vec![(light, 1.0), (heavy, 3.0)]);
    assert_close("derived: half of the volume", equal_volumes.components()[0].volume, 0.5, 1e-15);
    assert_close("derived: density", equal_volumes.density_g_cm3(), 2.0, 1e-15);
    assert_close("derived: D[4,3]", equal_volumes.moments().mean_um(4, 3).unwrap(), mean, 1e-12);
}
