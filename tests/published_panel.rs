//! The statistics of a panel against published examples and against SciPy and statsmodels (`tests/reference/`).

use crate::common::{assert_close, assert_near, numbers, reference};
use gritwise::numerics::mixed::{MixedLayout, Observation};
use gritwise::numerics::ordinal::{self, Rating};
use gritwise::numerics::rank;
use serde_json::Value;

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap()
}

fn cases(key: &str) -> Vec<Value> {
    reference("panel.json")[key].as_array().unwrap().clone()
}

#[test]
fn rank_correlations_are_scipys() {
    for case in cases("ranks") {
        let (name, x, y) = (case["name"].as_str().unwrap(), numbers(&case["x"]), numbers(&case["y"]));
        let (rho, tau) = (rank::spearman(&x, &y).unwrap(), rank::kendall(&x, &y).unwrap());
        assert_close(&format!("{name}: rho"), rho.value, number(&case, "rho"), 1e-12);
        assert_close(&format!("{name}: p of rho"), rho.p, number(&case, "rho_p"), 1e-9);
        assert_close(&format!("{name}: tau"), tau.value, number(&case, "tau"), 1e-12);
        assert_close(&format!("{name}: p of tau"), tau.p, number(&case, "tau_p"), 1e-9);
    }
    for case in cases("concordance") {
        let rows: Vec<Vec<f64>> = case["rows"].as_array().unwrap().iter().map(numbers).collect();
        let got = rank::concordance(&rows).unwrap();
        assert_close("W", got.w, number(&case, "w"), 1e-12);
        assert_close("p of W", got.p, number(&case, "p"), 1e-9);
    }
}

/// NIST StRD, linear regression, data set Norris: with one block and one value per group the layout is a plain regression.
#[test]
fn nist_norris() {
    const Y: [f64; 36] = [
        0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9,
        10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9,
        668.4, 449.2, 0.2,
    ];
    const X: [f64; 36] = [
        0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5,
        11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2,
        669.1, 448.9, 0.5,
    ];
    let cells = Y.iter().enumerate().map(|(group, &value)| Observation { block: 0, group, value }).collect();
    let trend = MixedLayout::new(cells, 1, 36).trend(&X).unwrap();
    assert_close("slope", trend.slope, 1.002_116_818_020_45, 1e-12);
    assert_close("its standard deviation", trend.slope_se, 0.429_796_848_199_937e-3, 1e-9);
    assert_close("intercept", trend.at(0.0), -0.262_323_073_774_029, 1e-9);
    assert_close("its standard deviation", trend.var_at(0.0).sqrt(), 0.232_818_234_301_152, 1e-9);
    assert_close("residual standard deviation", trend.noise_var.sqrt(), 0.884_796_396_144_373, 1e-9);
    assert_close("R squared", trend.r2, 0.999_993_745_883_712, 1e-12);
    assert_eq!(trend.df, 34.0);
}

#[test]
fn the_mixed_model_is_that_of_statsmodels() {
    for case in cases("mixed") {
        let cell = |c: &Value| {
            let c = numbers(c);
            Observation { block: c[0] as usize, group: c[1] as usize, value: c[2] }
        };
        let cells = case["cells"].as_array().unwrap().iter().map(cell).collect();
        let x = numbers(&case["x"]);
        let layout = MixedLayout::new(cells, number(&case, "blocks") as usize, x.len());
        let trend = layout.trend(&x).unwrap();
        let name = case["name"].as_str().unwrap();
        for (what, got, tolerance) in [
            ("slope", trend.slope, 1e-6),
            ("slope_se", trend.slope_se, 1e-5),
            ("noise_var", trend.noise_var, 1e-5),
            ("mean", trend.at(number(&case, "at")), 1e-6),
            ("mean_var", trend.var_at(number(&case, "at")), 1e-4),
        ] {
            assert_close(&format!("{name}: {what}"), got, number(&case, what), tolerance);
        }
        assert_near(&format!("{name}: group_var"), trend.group_var, number(&case, "group_var"), 1e-4, 1e-9);
        let theirs = number(&case["statsmodels"], "slope");
        assert_close(&format!("{name}: slope of statsmodels"), trend.slope, theirs, 1e-6);
    }
}

/// Blocks and days crossed: MixedLM with dummies of both, and the days by ordinary least squares on dummies of all three.
#[test]
fn crossed_days_are_those_of_statsmodels() {
    for case in cases("crossed") {
        let rows: Vec<Vec<f64>> = case["cells"].as_array().unwrap().iter().map(numbers).collect();
        let cell = |r: &Vec<f64>| Observation { block: r[0] as usize, group: r[1] as usize, value: r[2] };
        let place = |r: &Vec<f64>, k: usize| r[k] as usize;
        let x = numbers(&case["x"]);
        let (blocks, days) = (number(&case, "blocks") as usize, number(&case, "days") as usize);
        let layout = MixedLayout::crossed(
            rows.iter().map(cell).collect(),
            &rows.iter().map(|r| place(r, 3)).collect::<Vec<_>>(),
            blocks,
            x.len(),
        );
        let trend = layout.trend(&x).unwrap();
        let name = case["name"].as_str().unwrap();
        for (what, got, tolerance) in [
            ("slope", trend.slope, 1e-6),
            ("slope_se", trend.slope_se, 1e-5),
            ("group_var", trend.group_var, 1e-4),
            ("noise_var", trend.noise_var, 1e-5),
            ("mean", trend.at(number(&case, "at")), 1e-6),
            ("mean_var", trend.var_at(number(&case, "at")), 1e-4),
        ] {
            assert_close(&format!("{name}: {what}"), got, number(&case, what), tolerance);
        }
        let theirs = &case["statsmodels"];
        assert_close(&format!("{name}: slope of statsmodels"), trend.slope, number(theirs, "slope"), 1e-6);
        assert_close(&format!("{name}: its error"), trend.slope_se, number(theirs, "slope_se"), 1e-3);
        // Days are groups once scrubs stand beside the blocks.
        let of_days = rows.iter().map(|r| Observation { group: place(r, 3), ..cell(r) }).collect();
        let scrubs: Vec<usize> = rows.iter().map(|r| place(r, 1)).collect();
        let levels = MixedLayout::crossed(of_days, &scrubs, blocks, days).effects().unwrap();
        for (got, want) in levels.iter().zip(numbers(&case["day_levels"])) {
            assert_near(&format!("{name}: day"), *got, want, 1e-6, 1e-9);
        }
        // A day of one's own for every block changes nothing that the block has not taken out already.
        let alone: Vec<usize> = rows.iter().map(|r| place(r, 0)).collect();
        let cells: Vec<Observation> = rows.iter().map(cell).collect();
        let (plain, same) =
            (MixedLayout::new(cells.clone(), blocks, x.len()), MixedLayout::crossed(cells, &alone, blocks, x.len()));
        assert_close("slope", same.trend(&x).unwrap().slope, plain.trend(&x).unwrap().slope, 1e-9);
        assert_eq!(same.noise_df(), plain.noise_df());
    }
}

#[test]
fn the_ordinal_model_is_the_likelihoods_maximum() {
    for case in cases("ordinal") {
        let rating = |r: &Value| {
            let r = numbers(r);
            Rating { block: r[0] as usize, day: r[3] as usize, x: r[1], category: r[2] as usize }
        };
        let ratings: Vec<Rating> = case["ratings"].as_array().unwrap().iter().map(rating).collect();
        let fit = ordinal::fit(&ratings).unwrap();
        let name = case["name"].as_str().unwrap();
        assert_close(&format!("{name}: slope"), fit.slope, number(&case, "slope"), 1e-4);
        assert_close(&format!("{name}: sd of blocks"), fit.block_sd, number(&case, "block_sd"), 1e-3);
        assert_close(&format!("{name}: likelihood"), fit.log_likelihood, number(&case, "log_likelihood"), 1e-6);
        for (got, want) in fit.thresholds.iter().zip(numbers(&case["thresholds"])) {
            assert_close(&format!("{name}: threshold"), *got, want, 1e-4);
        }
        let chances = fit.chances(5.0);
        assert_close("chances", chances.iter().sum(), 1.0, 1e-12);
    }
}
