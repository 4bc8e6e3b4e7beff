//! Fits of the three laws, each by its named method: a published exercise, and the independent fits of
//! `tests/reference/numerics_reference.py` (SciPy).

use crate::common::{assert_close, assert_near, numbers, reference, rounded};
use gritwise::size::fit::{LawFit, Method, fit_all};
use gritwise::size::law::LawName;

fn fit(points: &[(f64, f64)], law: LawName, method: Method) -> LawFit {
    fit_all(points).into_iter().find(|f| f.law.name() == law && f.method == method).unwrap()
}

#[test]
fn rosin_rammler_exercise() {
    // Brezani 2011, published exercise: size in mm (the unit does not matter to a fit), cumulative % retained. The printed
    // answer is that of unweighted non-linear least squares; the straight line's answer on the same data was recomputed.
    const RETAINED: [(f64, f64); 10] = [
        (0.08, 95.61),
        (0.5, 87.71),
        (1.25, 82.45),
        (2.0, 79.78),
        (4.0, 73.28),
        (6.3, 66.98),
        (8.0, 63.21),
        (12.5, 55.4),
        (16.0, 49.91),
        (40.0, 23.95),
    ];
    let points = RETAINED.map(|(x, r)| (x, 1.0 - r / 100.0));
    let curved = fit(&points, LawName::RosinRammler, Method::NonLinear);
    let printed = (rounded(curved.law.size_um(), 4), rounded(curved.law.exponent().unwrap(), 4));
    assert_eq!(printed, (27.0236, 0.5946), "Brezani 2011, non-linear");
    let straight = fit(&points, LawName::RosinRammler, Method::Linearised);
    let printed = (rounded(straight.law.size_um(), 4), rounded(straight.law.exponent().unwrap(), 6));
    assert_eq!(printed, (30.7144, 0.524_043), "Brezani 2011's data, straight line (derived)");
    // Derived: in µm the size is a thousandfold, all else is the same.
    let in_um = fit(&points.map(|(x, q)| (1000.0 * x, q)), LawName::RosinRammler, Method::NonLinear);
    assert_close("derived: unit of size", in_um.law.size_um(), 1000.0 * curved.law.size_um(), 1e-7);
    assert_close("derived: unit of size", in_um.rmse_pct, curved.rmse_pct, 1e-9);
}

#[test]
fn all_fits_are_those_of_the_reference() {
    let all = reference("numerics.json");
    let mut checked = 0;
    for set in all["fits"].as_array().unwrap() {
        let points: Vec<_> = numbers(&set["size"]).into_iter().zip(numbers(&set["q3"])).collect();
        assert_eq!(fit_all(&points).len(), 6, "three laws, two methods");
        for (method, method_key) in [(Method::NonLinear, "nonlinear"), (Method::Linearised, "linearised")] {
            for (law, law_key, size_key, spread_key) in [
                (LawName::LogNormal, "log_normal", "median", "gsd"),
                (LawName::RosinRammler, "rosin_rammler", "size", "exponent"),
                (LawName::GatesGaudinSchuhmann, "gates_gaudin_schuhmann", "size", "exponent"),
            ] {
                let got = fit(&points, law, method);
                let want = &set[method_key][law_key];
                let number = |key: &str| want[key].as_f64().unwrap();
                let what = format!("reference fit, {}: {law_key}, {method_key}", set["name"]);
                // Where the sum of squares is least it is flat: the parameters hold half its digits.
                let tolerance = if method == Method::NonLinear { 1e-6 } else { 1e-9 };
                let spread = got.law.gsd().or(got.law.exponent()).unwrap();
                assert_close(&format!("{what}: size"), got.law.size_um(), number(size_key), tolerance);
                assert_close(&format!("{what}: spread"), spread, number(spread_key), tolerance);
                assert_close(&format!("{what}: R²"), got.r2, number("r2"), 1e-9);
                assert_close(&format!("{what}: rmse"), got.rmse_pct, number("rmse_pct"), 1e-9);
                let sse = points.len() as f64 * (got.rmse_pct / 100.0).powi(2);
                assert_near(&format!("{what}: sum of squares"), sse, number("sse"), 1e-9, 1e-15);
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 18, "fits in the reference");
}
