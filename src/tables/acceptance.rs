//! What a lot of a powder is held against where its spec says nothing, and the limits of measurements.

use super::named::named_constants;

named_constants! {
    /// Limits for lots of a powder and for the measurements behind them; the names are the rows of the table.
    AcceptanceLimits: "the acceptance of lots";
    /// Tolerance of D10, %.
    d10_pct,
    /// Tolerance of D50, %.
    d50_pct,
    /// Tolerance of D90, %.
    d90_pct,
    /// Rank of the percentile that is the top size, %.
    top_finer_pct,
    /// Most above the top size, %.
    over_top_pct,
    /// Change of the index that is let pass, %.
    index_pct,
    /// Tolerances beyond which a lot is another grade.
    rework_factor,
    /// Factor of the D50 from which a table looks like another powder's.
    other_powder_factor,
    /// Coefficient of variation at the median, %.
    cv_d50_pct,
    /// The same at D10 and D90.
    cv_tail_pct,
    /// The most of it at the median, %.
    cv_most_d50_pct,
    /// The most of it at D10 and D90, %.
    cv_most_tail_pct,
    /// Medians below this size, µm, have their limits widened.
    fine_um,
    /// By this factor.
    fine_factor,
    /// Measurements that repeatability is judged by.
    repeat_tables,
    /// Confidence of intervals, %.
    interval_pct,
    /// Share of draws that agree from which a verdict is sure, %.
    sure_pct,
    /// Sieve loss that is worth a look, %.
    loss_pct,
    /// Sieve loss that makes a test worthless, %.
    loss_most_pct,
    /// Most on a sieve, kg/m².
    sieve_load_kg_m2,
    /// Sieve frame, mm.
    sieve_diameter_mm,
    /// Least sample for a sieve test on 200 mm sieves, g.
    sieve_sample_g,
    /// Share of both neighbours' frequency below which a sieve counts as empty, %.
    empty_ratio_pct,
    /// Share from which a sieve counts as full, %.
    full_pct,
    /// Share from which a sieve left out matters, %.
    gap_pct,
    /// Gy's shape factor.
    gy_shape,
    /// Gy's size range factor.
    gy_range,
    /// Error that the sample may bring, relative, %.
    gy_error_pct,
    /// Confidence of that error, %.
    gy_confidence_pct,
    /// Safety factor on the mass.
    gy_safety,
    /// Lots from which control limits are no longer provisional.
    chart_lots,
}
