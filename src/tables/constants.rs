//! Tables of constants of which the program knows every name: a field of a struct for each row, with its range and origin, or the bare
//! values.

use super::known::Known;
use super::rows::{ConstantRow, DrawRow, SiteRow};
use super::{TableError, TableFile, ranged, refuse_repeats};
use crate::size::SizeForm;
use crate::size::table::TableKind;
use crate::source::did_you_mean;

/// A struct with a field for every name: each constant with its range and origin, or, as it is by default, each value alone.
macro_rules! constants {
    ($(#[$about:meta])* $table:ident $({ $(#[$of:meta])* $key:ident: $type:ty })?; $($(#[$doc:meta])* $name:ident),+ $(,)?) => {
        $(#[$about])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $table<T = f64> {
            $($(#[$of])* pub $key: $type,)?
            $($(#[$doc])* pub $name: T),+
        }

        impl $table<Known> {
            /// The names of all, which are those of the rows.
            pub const NAMES: &[&str] = &[$(stringify!($name)),+];

            fn collect($($key: $type,)? get: impl Fn(&str) -> Result<Known, TableError>) -> Result<Self, TableError> {
                Ok(Self { $($key,)? $($name: get(stringify!($name))?),+ })
            }

            /// The values in force, without their ranges.
            pub fn values(&self) -> $table {
                $table { $($key: self.$key.clone(),)? $($name: self.$name.value),+ }
            }

            /// The same ranges and origins around other values.
            pub fn with_values(&self, values: &$table) -> Self {
                Self {
                    $($key: self.$key.clone(),)?
                    $($name: Known { value: values.$name, ..self.$name.clone() }),+
                }
            }

            /// The constant of a name.
            pub fn get(&self, name: &str) -> Option<&Known> {
                match name { $(stringify!($name) => Some(&self.$name),)+ _ => None }
            }
        }
    };
}

constants! {
    /// The constants of the rub model.
    ModelConstants;
    /// Modulus of the finger pad, MPa.
    finger_modulus_mpa,
    /// Poisson ratio of skin and finger pad.
    poisson_ratio,
    /// Indentation hardness of wet stratum corneum, MPa.
    horn_hardness_mpa,
    /// How many times harder than the horny layer a grain is that keeps half its edge.
    edge_ratio,
    /// Share of a groove that leaves as debris.
    debris_share,
    /// Sliding over one spot in one use, m.
    sliding_distance_m,
    /// Reference scrub: load, % w/w.
    reference_load_pct,
    /// Reference scrub: median, µm.
    reference_d50_um,
    /// Reference scrub: geometric standard deviation.
    reference_gsd,
    /// Reference scrub: density, g/cm³.
    reference_density_g_cm3,
    /// Reference scrub: hardness, GPa.
    reference_hardness_gpa,
    /// Reference scrub: roundness.
    reference_roundness,
    /// Share outside each bound of a range when none is stated, %.
    range_tail_pct,
}

constants! {
    /// A skin site: what the rub is solved with.
    Site {
        /// Name.
        name: String
    };
    /// Stratum corneum thickness, µm.
    stratum_corneum_um,
    /// Skin modulus at contacts of grain size, MPa.
    skin_modulus_mpa,
    /// Rub pressure, kPa.
    pressure_kpa,
    /// Dose of scrub, g/m².
    dose_g_m2,
    /// Least gap between finger pad and skin, µm.
    gap_um,
}

constants! {
    /// What a dossier reckons foreseeable misuse with, and the one scrub treatment that was measured on skin.
    MisuseConstants;
    /// How many times harder than stated it is pressed.
    pressure_times,
    /// Uses a week of somebody who uses it every day.
    daily_per_week,
    /// Hardness of dry horn over that of wet horn.
    dry_horn_times,
    /// Days in which the horny layer grows anew.
    renewal_days,
    /// Horny layer taken off by the treatment that was measured, tape strips.
    measured_strips,
    /// Horny layer on one tape strip, µm.
    strip_um,
}

constants! {
    /// Limits for lots of a powder and for the measurements behind them; the names are the rows of the table.
    AcceptanceLimits;
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

constants! {
    /// How sharply a sieve cuts; the names are the rows of the table.
    SievingConstants;
    /// By how much the largest opening of a test sieve may pass the nominal one w, µm: this times w^0.75,
    largest_075,
    /// and this times w^0.25.
    largest_025,
    /// The finest grains that may stay on a sieve, over its opening.
    near_mesh_least,
}

impl SievingConstants {
    /// The largest opening that a test sieve of this nominal opening may have, µm.
    pub fn largest_um(&self, nominal_um: f64) -> f64 {
        nominal_um + self.largest_075 * nominal_um.powf(0.75) + self.largest_025 * nominal_um.powf(0.25)
    }
}

constants! {
    /// What a search for a blend keeps to where an aim says nothing; the names are the rows of the table.
    AimLimits;
    /// No powder of a blend is less of the scrub than this, % w/w.
    least_share_pct,
    /// Nor fewer steps of the balance than this, where a balance is named.
    least_steps,
    /// How close `like` and a single score hold the index, %.
    like_within_pct,
    /// Batch where an aim names none, g.
    batch_g,
}

constants! {
    /// `formula-constants.csv`: constants of the checks of a formula.
    FormulaConstants;
    /// Acceleration of free fall, m/s².
    gravity_m_s2,
    /// How far a formula may be from 100 %.
    total_tolerance_pct,
    /// Slope A of the Davies equation.
    davies_a,
    /// Ionic strength up to which it is used, mol/L.
    davies_limit_m,
    /// How far a pH worked out may be from the one stated.
    ph_agreement,
    /// How much farther off it may be, beyond which it is no drift but a slip.
    ph_far,
    /// Strong acid or base that a stated pH may need beyond what is listed, mmol/kg.
    ph_needs_mmol,
    /// So much of it is a slip, mmol/kg.
    ph_slip_mmol,
    /// pH below which chalk and oxides dissolve.
    chalk_ph,
    /// pH from which a stated pH is that of a soap.
    soap_ph,
    /// What water takes of a sugar or a salt of which nothing is known, g in 100 mL.
    soluble_g_per_100ml,
    /// Buffer capacity below which a pH moves easily, mmol/kg per pH.
    weak_buffer_mmol,
    /// Cool-down, °C.
    cool_down_c,
    /// How far below their softening point wax beads go in, °C.
    wax_margin_c,
    /// Critical yield number of a sphere.
    beris_number,
    /// Yield stress over d |Δρ| g that holds grains in practice.
    practical_yield,
    /// Loosest packing of grains that rest on each other, as a share of the densest.
    loose_share,
    /// Share of that packing from which grains count as a bed that is stirred before use.
    bed_share,
    /// Days on the shelf.
    shelf_days,
    /// Way that grains may settle on the shelf, mm.
    settled_mm,
    /// Random close packing of equal spheres.
    packing_sphere,
    /// The same of angular grains.
    packing_angular,
    /// Roundness from which grains count as spheres.
    roundness_sphere,
    /// Roundness down from which they count as angular.
    roundness_angular,
    /// Intrinsic viscosity of spheres.
    intrinsic_sphere,
    /// The same of angular grains.
    intrinsic_angular,
    /// Share of the densest packing from which a scrub is stiff.
    stiff_share,
    /// The same from which it does not flow.
    full_share,
    /// Orifice over D99 below which grains clog.
    clogging_ratio,
    /// Orifice over D99 from which clogging is rare.
    orifice_ratio,
    /// The same for angular grains.
    orifice_ratio_angular,
    /// Solids from which a jar is better, % w/w.
    orifice_solids_pct,
    /// Room above the fill, % of the container.
    headspace_pct,
    /// Duration of a rub, s.
    rub_s,
    /// Speed of a grain against the water around it, m/s.
    slip_speed_m_s,
    /// Viscosity of that water, mPa·s.
    skin_water_viscosity_mpa_s,
    /// Growth of a corner's radius over the layer dissolved.
    corner_growth,
    /// Water that wet skin brings, g per g of scrub.
    rub_water_g_per_g,
    /// Share of a powder gone in the jar from which it is said, %.
    dissolved_pct,
    /// Most microbes in a finished product, CFU/g.
    cfu_per_g,
    /// Water activity up to which a product is at low risk.
    water_activity,
    /// pH from which on a product is at low risk.
    hostile_ph,
    /// Alcohol above which a product is at low risk, % w/w.
    hostile_alcohol_pct,
    /// Uses a week on the face.
    per_week_face,
    /// Acid from which the cautions for acids are printed, % w/w.
    aha_pct,
    /// Uses a week on the body.
    per_week_body,
    /// Uses a week of grains and acid together.
    per_week_acid,
    /// Share of the least usual dose below which a preservative counts as absent.
    usual_tenth,
    /// Share of the base that goes in at once.
    base_first_share,
    /// How far the yield stress by a slump may be off either way, %.
    slump_off_pct,
    /// Steps of the balance below which a line is weighed too coarsely.
    balance_steps,
    /// How far rounding may bring a figure nearer to its limit before it is told, % of the limit.
    weighed_worse_pct,
}

constants! {
    /// How far drawn properties stray where nobody gave a range; the names are the rows of the table.
    DrawTolerances;
    /// Median of a laser table, %.
    laser_d50_pct,
    /// D10 and D90 of a laser table, %.
    laser_d10_d90_pct,
    /// Median of a sieve table, %.
    sieve_d50_pct,
    /// D10 and D90 of a sieve table, %.
    sieve_d10_d90_pct,
    /// Median of counts, %.
    counts_d50_pct,
    /// D10 and D90 of counts, %.
    counts_d10_d90_pct,
    /// Median of a grit, %.
    grit_d50_pct,
    /// D10 and D90 of a grit, %.
    grit_d10_d90_pct,
    /// Median as a supplier's sheet states it, %.
    stated_d50_pct,
    /// D10 and D90 as a supplier's sheet states them, %.
    stated_d10_d90_pct,
    /// Sizes below this are known less well, µm.
    fine_below_um,
    /// By this factor.
    fine_factor,
    /// A stated share outside a range may be more or less by this factor.
    stated_tail_factor,
    /// Share on the coarsest sieve of a table above which its top is open, %: the verdict says "at least".
    open_top_pct,
    /// Such a top is drawn from the coarsest opening times this,
    open_top_least_factor,
    /// to the coarsest opening times this.
    open_top_most_factor,
    /// Correlation of outer percentiles with the median.
    percentile_correlation,
    /// Density without a range, %.
    density_pct,
    /// Hardness without a range, %.
    hardness_pct,
    /// Roundness without a range, %.
    roundness_pct,
    /// Roundness after fifty grains were judged, %.
    measured_roundness_pct,
    /// Hardness after grains were indented, %.
    measured_hardness_pct,
}

/// Constants of the model's first edition, and what to write instead.
const REPLACED: [(&str, &str); 1] = [(
    "half_hardness_gpa",
    "edge keeping is relative to the horny layer now; write edge_ratio, how many times harder than it a grain keeps half its edge \
     (5, between 1 and 20)",
)];

/// What a table of constants holds, by name. A row that `whose` does not know is refused; the function errs for a name that has none.
fn named<'f>(
    file: &'f TableFile,
    known: &[&str],
    whose: &str,
) -> Result<impl Fn(&str) -> Result<Known, TableError> + use<'f>, TableError> {
    let rows: Vec<(usize, ConstantRow)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| r.constant.clone())?;
    if let Some((line, row)) = rows.iter().find(|(_, r)| !known.contains(&r.constant.as_str())) {
        if let Some((_, instead)) = REPLACED.iter().find(|(old, _)| row.constant == *old) {
            return Err(file.error(*line, format!("the constant \"{}\" is no more: {instead}", row.constant)));
        }
        let hint = did_you_mean(&row.constant, known.iter().copied());
        return Err(file.error(*line, format!("{whose} has no constant \"{}\"; {hint}", row.constant)));
    }
    Ok(move |name: &str| {
        let row = rows.iter().find(|(_, r)| r.constant == name);
        row.map(|(_, r)| r.known()).ok_or_else(|| {
            file.error(
                1,
                format!("the constant \"{name}\" is missing; gritwise tables {} --csv shows its row", file.name),
            )
        })
    })
}

impl ModelConstants {
    /// Hardness of a grain that keeps half its edge on the horny layer, GPa.
    pub fn half_kept_gpa(&self) -> f64 {
        self.edge_ratio * self.horn_hardness_mpa * 1e-3
    }
}

impl ModelConstants<Known> {
    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        Self::collect(named(file, Self::NAMES, "the model")?)
    }
}

impl MisuseConstants<Known> {
    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        Self::collect(named(file, Self::NAMES, "foreseeable misuse")?)
    }
}

impl SievingConstants<Known> {
    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        let read = Self::collect(named(file, Self::NAMES, "sieving")?)?;
        for (name, most) in [("largest_075", 10.0), ("largest_025", 100.0), ("near_mesh_least", 1.0)] {
            if let Some(known) = read.get(name).filter(|known| known.value > most) {
                return Err(file.error(1, format!("{name} = {} must be {most} at most", known.value)));
            }
        }
        Ok(read)
    }
}

impl AcceptanceLimits<Known> {
    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        Self::collect(named(file, Self::NAMES, "the acceptance of lots")?)
    }
}

impl FormulaConstants<Known> {
    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        Self::collect(named(file, Self::NAMES, "a check")?)
    }
}

impl AimLimits<Known> {
    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        let limits = Self::collect(named(file, Self::NAMES, "the search for a blend")?)?;
        // Beyond these no blend could be found, or the word would mean nothing.
        for (name, most) in [("least_share_pct", 10.0), ("least_steps", 1000.0), ("like_within_pct", 50.0)] {
            if let Some(known) = limits.get(name).filter(|known| known.value > most) {
                return Err(file.error(1, format!("{name} = {} must be {most} at most", known.value)));
            }
        }
        Ok(limits)
    }
}

/// The site at which the index is taken. Every sites table must hold it.
pub const REFERENCE_SITE: &str = "face";

impl Site<Known> {
    /// All sites, in the order of the table.
    pub(super) fn read(file: &TableFile) -> Result<Vec<Self>, TableError> {
        let rows: Vec<(usize, SiteRow)> = ranged(file)?;
        refuse_repeats(file, &rows, |r| format!("{} {}", r.site, r.parameter))?;
        let mut names: Vec<&str> = rows.iter().map(|(_, r)| r.site.as_str()).collect();
        let mut seen = std::collections::HashSet::new();
        names.retain(|name| seen.insert(*name));
        if !names.contains(&REFERENCE_SITE) {
            return Err(file.error(1, format!("the site \"{REFERENCE_SITE}\" is missing; the index is taken there")));
        }
        let one = |site: &str| {
            Self::collect(site.to_owned(), |parameter| {
                let row = rows.iter().find(|(_, r)| r.site == site && r.parameter == parameter);
                let missing = || file.error(1, format!("site \"{site}\" has no {parameter}"));
                row.map(|(_, r)| r.known()).ok_or_else(missing)
            })
        };
        names.into_iter().map(one).collect()
    }
}

impl DrawTolerances<Known> {
    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        let rows: Vec<(usize, DrawRow)> = file.rows()?;
        refuse_repeats(file, &rows, |r| r.tolerance.clone())?;
        for (line, row) in &rows {
            file.known(*line, "tolerance", &row.tolerance, Self::NAMES.iter().copied())?;
            let (least, most) = match row.tolerance.as_str() {
                name if name.ends_with("_pct") => (0.0, 100.0),
                "percentile_correlation" => (0.0, 0.99),
                "fine_below_um" => (0.0, 1e6),
                _ => (1.0, 10.0),
            };
            if !(least..=most).contains(&row.value) {
                let problem = format!("{} must lie between {least} and {most}, not {}", row.tolerance, row.value);
                return Err(file.error(*line, problem));
            }
        }
        Self::collect(|name| {
            let row = rows.iter().find(|(_, r)| r.tolerance == name).map(|(_, r)| r);
            let row = row.ok_or_else(|| file.error(1, format!("the tolerance \"{name}\" is missing")))?;
            Ok(Known { value: row.value, low: row.value, high: row.value, origin: row.origin() })
        })
    }
}

impl DrawTolerances {
    /// Standard deviations of ln of the median and of D10 and D90, for sizes not below [`Self::fine_below_um`].
    pub fn sizes(&self, form: SizeForm) -> [f64; 2] {
        let [median, outer] = match form {
            SizeForm::Stated | SizeForm::Range { .. } | SizeForm::OneFigure(_) => {
                [self.stated_d50_pct, self.stated_d10_d90_pct]
            }
            SizeForm::Grit => [self.grit_d50_pct, self.grit_d10_d90_pct],
            SizeForm::Measured(TableKind::Laser) => [self.laser_d50_pct, self.laser_d10_d90_pct],
            SizeForm::Measured(TableKind::Sieve) => [self.sieve_d50_pct, self.sieve_d10_d90_pct],
            SizeForm::Measured(TableKind::Counts) => [self.counts_d50_pct, self.counts_d10_d90_pct],
        };
        [Self::ln(median), Self::ln(outer)]
    }

    /// The standard deviation of ln that a tolerance in percent is.
    pub fn ln(pct: f64) -> f64 {
        (pct / 100.0).ln_1p()
    }

    /// Share (0..1) on the coarsest sieve of a table above which its top is open.
    pub fn open_top_share(&self) -> f64 {
        self.open_top_pct / 100.0
    }
}
