//! Whether a lot of a powder will do: its measured table against the grade that the scrub was designed with, then the scrub
//! made with it, and the parts that would make up for the difference. What decides is the scrub, not the sieve curve.

use super::measurement::{FoundOddity, Oddity, sieve_test, spread};
use super::sampling::{SampledGrains, least_mass_g, relative_sd};
use crate::band::{Assessment, Judge};
use crate::blend::{Blend, BlendError, Component, Scrub};
use crate::design::{Rebalanced, rebalance};
use crate::numerics::roots;
use crate::numerics::student::Sample;
use crate::powder::{Powder, Tolerance};
use crate::size::spec::{SizeSpec, Tails};
use crate::size::table::{self, TableKind};
use crate::size::{Class, Figure, Finer, SizeDistribution, SizeError, SizeForm, SizeRecord};
use crate::source::{Disk, ReadError, Tabular, sha256_hex, words};
use crate::tables::{AcceptanceLimits, Tables};
use crate::units::{LoadPercent, Micrometres, Parts};
use std::path::Path;

/// One measurement of a lot.
#[derive(Debug, Clone)]
pub struct LotTable {
    /// The file as named.
    pub file: String,
    /// What it holds.
    pub record: SizeRecord,
    /// SHA-256 of the file.
    pub sha256: String,
    /// What was put on the top sieve, g, if it was said.
    pub charged_g: Option<f64>,
}

impl LotTable {
    /// Which of D10, D50 and D90 it does not tell.
    pub fn not_told(&self) -> Vec<&'static str> {
        RANKS.into_iter().filter(|(_, share)| !self.record.tells(*share)).map(|(name, _)| name).collect()
    }

    /// What was measured, before the maker sieves the lot.
    fn as_measured(&self) -> &SizeRecord {
        self.record.sieved.as_ref().map_or(&self.record, |sieved| &sieved.of)
    }

    /// Reads a table of sizes from a file; or, where there is no such file, percentiles off a certificate: `d10=120 d50=170 d90=230`,
    /// `D10: 120 µm, D50: 170 µm, D90: 230 µm`.
    ///
    /// # Errors
    /// [`ReadError`] when the file cannot be read; [`SizeError`] with file and line when it is no table of sizes.
    pub fn read(path: &Path, tables: &Tables) -> Result<Self, LotError> {
        let file = path.display().to_string();
        match SizeSpec::parse(&file).map_err(LotError::Table) {
            Ok(spec) if !path.exists() => return Self::of_certificate(file, &spec, tables),
            Err(e) if file.contains('=') && !path.exists() => return Err(e),
            _ => {}
        }
        let table = Tabular::read(path, &Disk)?;
        let record = table::read_tabular(&table, None, &tables.standards).map_err(LotError::Table)?;
        Ok(Self::new(file, record, table.sha256, None))
    }

    /// What was read of a file. `charged_g` is what was put on the top sieve; else the table may say what was lost.
    pub fn new(file: String, record: SizeRecord, sha256: String, charged_g: Option<f64>) -> Self {
        let charged_g = charged_g.or_else(|| record.measured?.charged_g());
        Self { file, record, sha256, charged_g }
    }

    fn of_certificate(file: String, spec: &SizeSpec, tables: &Tables) -> Result<Self, LotError> {
        let tails = Tails::assumed(tables.constants.range_tail_pct.value);
        let problem = match spec {
            SizeSpec::Percentiles(_) | SizeSpec::Law { .. } => {
                let record = spec.resolve(&tables.standards, tails).map_err(LotError::Table)?;
                return Ok(Self { sha256: sha256_hex(file.as_bytes()), file, record, charged_g: None });
            }
            SizeSpec::Figure(Figure { finer: Finer::Percent(_), .. }) => {
                "one percentile says nothing of how wide a lot is; give two or more"
            }
            _ => "a grade is what a lot is held against; give what was measured: its table, or two percentiles or more",
        };
        Err(LotError::Table(SizeError::Percentiles(format!("\"{file}\": {problem}"))))
    }
}

/// Why a lot could not be judged.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LotError {
    /// A file cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A file that is no table of sizes.
    #[error(transparent)]
    Table(SizeError),
    /// No table.
    #[error("a lot needs one measured table at least")]
    NoTable,
    /// The mean of the tables makes no curve.
    #[error("the mean curve of the tables cannot be drawn: {0}")]
    Mean(#[from] SizeError),
    /// The scrub cannot be blended anew.
    #[error(transparent)]
    Blend(#[from] BlendError),
}

words! {
    /// The answer, the best first.
    pub enum LotVerdict {
        /// Use it as it is.
        Accept = "accept",
        /// Use it with the parts found.
        AcceptWithNewParts = "accept with new parts",
        /// Do not use it, or measure again.
        Refuse = "refuse",
    }
}

/// A percentile of the lot against that of the grade.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldFigure {
    /// `D10`, `D50` or `D90`.
    pub name: &'static str,
    /// Of the grade, µm.
    pub grade_um: f64,
    /// Whether the grade tells it: nothing is held against what is assumed of a grade.
    pub grade_known: bool,
    /// Of the lot, over the tables that tell it, µm; over all where none does.
    pub lot: Sample,
    /// Whether any table tells it: a percentile in the class above the coarsest sieve, or below the finest, is assumed.
    pub known: bool,
    /// Tolerance as the spec has it.
    pub tolerance: Tolerance,
    /// Not known, but wherever it lies below the finest size it is within its tolerance.
    pub within_anyway: bool,
}

impl HeldFigure {
    /// Whether both are known, so that the lot can be held against the grade.
    pub fn is_held(&self) -> bool {
        self.known && self.grade_known
    }

    /// How far the lot lies from the grade, %.
    pub fn deviation_pct(&self) -> f64 {
        100.0 * (self.lot.mean / self.grade_um - 1.0)
    }

    /// The tolerance, %.
    pub fn tolerance_pct(&self) -> f64 {
        self.tolerance.pct_of(self.grade_um)
    }

    /// Whether the lot is within the tolerance; `None` where nothing is held.
    pub fn is_within(&self) -> Option<bool> {
        let held = self.is_held().then(|| self.tolerances_off() <= 1.0 + 1e-9);
        held.or(self.within_anyway.then_some(true))
    }

    /// How many tolerances the lot lies off.
    pub fn tolerances_off(&self) -> f64 {
        self.deviation_pct().abs() / self.tolerance_pct()
    }
}

/// What is above the top size, % by volume.
#[derive(Debug, Clone, PartialEq)]
pub struct AboveTop {
    /// The top size, µm.
    pub um: f64,
    /// The most that may be above it; `None` where the spec names no top size and the grade does not tell where it ends.
    pub limit_pct: Option<f64>,
    /// Of the lot, over the tables that tell it; `None` where none does.
    pub lot: Option<Sample>,
    /// The least and the most that the tables of the lot allow.
    pub lot_pct: [f64; 2],
    /// Of the grade; `None` where it does not tell it.
    pub grade_pct: Option<f64>,
}

impl AboveTop {
    /// Whether the tables leave open on which side of the limit the lot is.
    pub fn is_open(&self) -> bool {
        let [least, most] = self.lot_pct;
        self.lot.is_none()
            && self.limit_pct.is_some_and(|limit| least <= limit + TO_THE_LAST && most > limit + TO_THE_LAST)
    }

    /// Whether so much of the lot, %, is too much; what no table tells is by what is left open.
    fn is_over(&self, pct: f64) -> bool {
        let pct = if self.lot.is_some() { pct } else { self.lot_pct[0] };
        self.limit_pct.is_some_and(|limit| pct > limit + TO_THE_LAST)
    }
}

/// Percentages do not sum to the last bit.
const TO_THE_LAST: f64 = 1e-7;

/// Why a lot is not simply accepted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// The measurement cannot be relied on.
    Measurement,
    /// Too much above the top size.
    OverTop,
    /// The top size lies beyond the coarsest sieve, or below the finest, and more may be above it than is let pass.
    TopNotKnown,
    /// A percentile lies beyond the coarsest sieve, or below the finest; its place in [`LotJudged::figures`].
    NotKnown(usize),
    /// A percentile is beyond its tolerance; its place in [`LotJudged::figures`].
    Beyond(usize),
    /// So far beyond that it is another grade.
    OtherGrade(usize),
    /// The index changes by more than is let pass, %.
    Index(f64),
    /// The scrub's band is another.
    Band,
    /// No parts bring the index back within the band.
    NoParts,
}

/// A lot judged.
#[derive(Debug, Clone)]
pub struct LotJudged {
    /// D10, D50 and D90.
    pub figures: [HeldFigure; 3],
    /// What is above the top size.
    pub top: AboveTop,
    /// What there is to say of the measurement.
    pub findings: Vec<FoundOddity>,
    /// Least mass of a sample by Gy's formula, g.
    pub least_sample_g: f64,
    /// Index with each table by itself.
    pub indices: Sample,
    /// The scrub as designed.
    pub before: Assessment,
    /// The scrub made with the lot.
    pub scrub: Scrub,
    /// It, rubbed and judged.
    pub with_lot: Assessment,
    /// New parts, where there are any; none for a lot that is refused.
    pub rebalanced: Option<Rebalanced>,
    /// Change of the index that is let pass, %.
    pub index_limit_pct: f64,
    /// The verdict.
    pub verdict: LotVerdict,
    /// Why it is not simply accepted.
    pub reasons: Vec<Reason>,
}

impl LotJudged {
    /// Change of the index by the lot, %.
    pub fn index_change_pct(&self) -> f64 {
        self.change_pct(self.with_lot.figures.index)
    }

    /// Change from the index as designed to `index`, %.
    pub(super) fn change_pct(&self, index: f64) -> f64 {
        let now = self.before.figures.index;
        // A scrub that does not rub stays as it is.
        if now == index { 0.0 } else { 100.0 * (index / now - 1.0) }
    }
}

/// What a lot is judged with.
#[derive(Debug, Clone, Copy)]
pub struct LotCase<'a> {
    /// The judge.
    pub judge: &'a Judge,
    /// Tables in force.
    pub tables: &'a Tables,
    /// The scrub as designed.
    pub scrub: &'a Scrub,
    /// Place of the powder in it.
    pub place: usize,
    /// Mass of the sample that was measured, g; else what lay on the sieves.
    pub sample_g: Option<f64>,
    /// Frame of the sieves, mm; the table's where it is not said.
    pub sieve_mm: Option<f64>,
    /// What reaches the skin of a scrub that is weighed in.
    pub on_skin: OnSkinOf<'a>,
}

/// What reaches the skin of a scrub, after what the jar dissolved of its grains.
#[derive(Clone, Copy)]
pub struct OnSkinOf<'a>(pub &'a dyn Fn(&Scrub) -> Scrub);

impl OnSkinOf<'static> {
    /// Everything: nothing dissolves.
    pub const ALL: Self = Self(&Scrub::clone);
}

impl std::fmt::Debug for OnSkinOf<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("OnSkinOf")
    }
}

/// How far about parts that were found on the grains alone those are looked for that bring the index back through the jar, as factors.
const NEARBY: [f64; 7] = [1.02, 1.05, 1.1, 1.2, 1.4, 1.8, 2.5];

/// A sample holds at least so much of what lay on the sieves: the rest is the error of two balances.
const LEAST_OF_SAMPLE: f64 = 0.95;

/// An index this near to the one wanted, relative, has been brought back.
const RESTORED: f64 = 1e-4;

/// A bound that at most so much of a grade is coarser than is its top.
const MOST_OVER_BOUND_PCT: f64 = 10.0;

/// Percentiles that lots are held to, and the share finer.
pub(super) const RANKS: [(&str, f64); 3] = [("D10", 0.1), ("D50", 0.5), ("D90", 0.9)];

impl LotCase<'_> {
    fn powder(&self) -> &Powder {
        &self.scrub.blend.components()[self.place].powder
    }

    pub(super) fn limits(&self) -> &AcceptanceLimits {
        &self.tables.acceptance
    }

    /// Judges a lot by one table or by the mean of several.
    ///
    /// # Errors
    /// [`LotError`] without a table, or when the tables make no mean curve.
    pub fn judge(&self, lot: &[LotTable]) -> Result<LotJudged, LotError> {
        let records: Vec<&SizeRecord> = lot.iter().map(|t| &t.record).collect();
        let top = self.above_top(&records);
        // Of repeats those count that tell what is coarse; where none does, all do.
        let telling: Vec<&SizeRecord> = records.iter().copied().filter(|r| tells(r, top.um)).collect();
        let coarse = if telling.is_empty() { &records } else { &telling };
        let scrub = self.with(mean_record(coarse)?)?;
        let (before, with_lot) = (self.assess(self.scrub), self.assess(&scrub));
        let figures = self.figures(&records);
        let indices = match coarse.as_slice() {
            [_] => Ok(vec![with_lot.figures.index]),
            _ => coarse.iter().map(|r| Ok(self.assess(&self.with((*r).clone())?).figures.index)).collect(),
        };
        let index_limit_pct = self.powder().stock.accept.index_pct.unwrap_or(self.limits().index_pct);
        let (index, rank) = (before.figures.index, before.verdict.rank);
        let mut judged = LotJudged {
            top,
            findings: self.findings(lot, &figures),
            least_sample_g: self.least_sample_g(),
            indices: Sample::of(&indices.map_err(LotError::Blend)?),
            rebalanced: self.rebalanced(&scrub, index, rank, index_limit_pct / 100.0),
            verdict: LotVerdict::Accept,
            reasons: Vec::new(),
            figures,
            before,
            scrub,
            with_lot,
            index_limit_pct,
        };
        judged.decide(self.limits().rework_factor);
        Ok(judged)
    }

    /// What is above the top size that the spec names; else above the one that the grade tells.
    fn above_top(&self, records: &[&SizeRecord]) -> AboveTop {
        let (spec, grade) = (&self.powder().stock.accept, &self.powder().size);
        let (um, is_told) = match (spec.top_um, grade.form) {
            (Some(um), _) => (um, true),
            // A bound that a grade states is its top; where its spread ends about a median is assumed.
            (None, SizeForm::OneFigure(known)) if known.coarser_pct <= MOST_OVER_BOUND_PCT => (known.at_um, true),
            (None, _) => {
                let share = self.limits().top_finer_pct / 100.0;
                (grade.distribution.quantile(share), grade.tells(share))
            }
        };
        let pct = |r: &SizeRecord| 100.0 * r.coarser_than(um).0;
        let told: Vec<f64> = records.iter().filter(|r| tells(r, um)).map(|r| pct(r)).collect();
        let lot = (!told.is_empty()).then(|| Sample::of(&told));
        let mean = |of: fn((f64, f64)) -> f64| {
            100.0 * records.iter().map(|r| of(r.coarser_than(um))).sum::<f64>() / records.len() as f64
        };
        AboveTop {
            um,
            limit_pct: is_told.then_some(spec.over_top_pct.unwrap_or(self.limits().over_top_pct)),
            lot_pct: lot.map_or_else(|| [mean(|c| c.0), mean(|c| c.1)], |lot| [lot.mean; 2]),
            lot,
            grade_pct: tells(grade, um).then(|| pct(grade)),
        }
    }

    /// Judges the grains of a scrub that reach the skin.
    fn assess(&self, weighed: &Scrub) -> Assessment {
        self.judge.assess(&self.on_skin.0(weighed))
    }

    /// New parts, found on the grains that reach the skin. What the jar dissolves of the powder comes on top of them; it is the same
    /// mass whatever the parts are, but from a thinner layer the more there is, so that the scrub is judged anew.
    fn rebalanced(&self, weighed: &Scrub, index: f64, rank: usize, index_off: f64) -> Option<Rebalanced> {
        let grains = self.on_skin.0(weighed);
        let found = rebalance(self.judge, &grains, self.place, index, rank, index_off)?;
        if grains == *weighed {
            return Some(found);
        }
        let now = self.pct(weighed);
        let first = now + self.pct(&found.scrub) - self.pct(&grains);
        let made = |pct: f64| {
            let scrub = self.weighed_with(weighed, pct)?;
            let assessment = self.assess(&scrub);
            Some((scrub, assessment))
        };
        let off = |pct: f64| made(pct).map_or(f64::NAN, |(_, a)| a.figures.index / index - 1.0);
        // From a thinner or thicker layer the grains come a little finer or coarser than those that the parts were found for.
        let here = off(first);
        let most = now + 100.0 - weighed.load.get();
        let ends = NEARBY.into_iter().flat_map(|by| [first / by, (first * by).min(most)]);
        let exact = ends.filter(|_| found.restored).find_map(|end| {
            let root = (here * off(end) < 0.0).then(|| roots::brent(off, first, end, 1e-9 * now).ok()).flatten();
            // Where the jar takes all there is a jump, and no root.
            root.filter(|pct| off(*pct).abs() < RESTORED)
        });
        let (scrub, assessment) = made(exact.unwrap_or(first))?;
        let near = (assessment.figures.index / index - 1.0).abs();
        let restored = found.restored && near < RESTORED;
        (assessment.verdict.rank <= rank && near <= index_off).then_some(Rebalanced { scrub, assessment, restored })
    }

    /// A scrub with so much of the powder, % of the scrub; all others keep theirs.
    fn weighed_with(&self, weighed: &Scrub, pct: f64) -> Option<Scrub> {
        let now = self.pct(weighed);
        let parts = |(i, c): (usize, &Component)| c.parts.get() * if i == self.place { pct / now } else { 1.0 };
        let components = || weighed.blend.components().iter().enumerate();
        // More than the most parts that may be written are the same blend with all parts scaled.
        let scale = components().map(parts).fold(100.0, f64::max) / 100.0;
        let parts = components().map(|c| Some((c.1.powder.clone(), Parts::new(parts(c) / scale).ok()?)));
        let blend = Blend::new(parts.collect::<Option<Vec<_>>>()?).ok()?;
        let load = LoadPercent::new(weighed.load.get() - now + pct).ok()?;
        Some(Scrub { name: weighed.name.clone(), load, load_range: None, blend })
    }

    /// The scrub with the powder's sizes replaced.
    fn with(&self, size: SizeRecord) -> Result<Scrub, BlendError> {
        let components = self.scrub.blend.components().iter().enumerate();
        let powders = components.map(|(i, c)| {
            let size = if i == self.place { size.clone() } else { c.powder.size.clone() };
            (Powder { size, ..c.powder.clone() }, c.parts)
        });
        Ok(Scrub { blend: Blend::new(powders.collect())?, ..self.scrub.clone() })
    }

    fn figures(&self, records: &[&SizeRecord]) -> [HeldFigure; 3] {
        let limits = self.limits();
        let default = [limits.d10_pct, limits.d50_pct, limits.d90_pct];
        let of = |i: usize| {
            let (name, p) = RANKS[i];
            let values: Vec<f64> = records.iter().map(|r| r.distribution.quantile(p)).collect();
            let tolerance = self.powder().stock.accept.percentiles[i].unwrap_or(Tolerance::Percent(default[i]));
            let (grade_um, grade_known) = (self.powder().size.distribution.quantile(p), self.powder().size.tells(p));
            // Of repeats on other sieves those count that tell it.
            let all = records.iter().zip(&values);
            let told: Vec<f64> = all.filter(|(r, um)| r.tells_at(**um)).map(|(_, um)| *um).collect();
            let known = !told.is_empty();
            let most_um = records.iter().zip(&values).map(|(r, um)| below_um(r, *um)).fold(0.0, f64::max);
            let most_pct = 100.0 * (most_um / grade_um - 1.0);
            let tolerance_pct = tolerance.pct_of(grade_um);
            HeldFigure {
                name,
                grade_um,
                grade_known,
                lot: Sample::of(if known { &told } else { &values }),
                known,
                tolerance,
                within_anyway: grade_known && !known && tolerance_pct >= 100.0 && most_pct <= tolerance_pct,
            }
        };
        [of(0), of(1), of(2)]
    }

    fn findings(&self, lot: &[LotTable], figures: &[HeldFigure; 3]) -> Vec<FoundOddity> {
        let limits = self.limits();
        let most_loss = self.powder().stock.accept.loss_pct.unwrap_or(limits.loss_most_pct);
        let sieve_mm = self.sieve_mm.unwrap_or(limits.sieve_diameter_mm);
        let mut found = Vec::new();
        for (i, table) in lot.iter().enumerate() {
            let (standards, record) = (&self.tables.standards, table.as_measured());
            let of_test = sieve_test(record, table.charged_g, most_loss, sieve_mm, standards, limits);
            found.extend(of_test.into_iter().map(|f| f.of(i)));
            found.extend(self.other_method(record).map(|f| f.of(i)));
            let weighed = record.measured.and_then(|m| m.weighed_g);
            let less =
                self.sample_g.zip(weighed).filter(|(sample_g, on_sieves)| *sample_g < LEAST_OF_SAMPLE * on_sieves);
            let less = less.map(|(sample_g, weighed_g)| Oddity::SampleBelowSieves { sample_g, weighed_g });
            found.extend(less.map(|odd| FoundOddity::note(odd).of(i)));
            let sample = self.sample_g.or(table.charged_g).or(weighed);
            let least_g = self.least_sample_g().max(self.least_on_sieves_g(record, sieve_mm));
            let small = sample.filter(|g| *g < least_g);
            found.extend(small.map(|sample_g| FoundOddity::note(Oddity::SmallSample { sample_g, least_g }).of(i)));
        }
        found.extend(mixed_methods(lot));
        found.extend(spread(&[0, 1, 2].map(|i| (figures[i].name, figures[i].lot)), limits));
        found.extend(self.other_powder(&figures[1]));
        found
    }

    fn other_method(&self, lot: &SizeRecord) -> Option<FoundOddity> {
        let kind = |r: &SizeRecord| r.measured.map(|m| m.kind);
        let (grade, lot): (TableKind, TableKind) = (kind(&self.powder().size)?, kind(lot)?);
        (grade != lot).then(|| FoundOddity::note(Oddity::OtherMethod { grade, lot }))
    }

    fn other_powder(&self, d50: &HeldFigure) -> Option<FoundOddity> {
        let off = |grade_um: f64| (d50.lot.mean / grade_um).ln().abs();
        if !d50.grade_known || off(d50.grade_um) < self.limits().other_powder_factor.ln() {
            return None;
        }
        let medians =
            self.scrub.blend.components().iter().map(|c| (&c.powder, c.powder.size.distribution.quantile(0.5)));
        let nearest = medians.min_by(|a, b| off(a.1).total_cmp(&off(b.1)));
        let nearer = nearest.map(|(p, _)| p.name.clone()).filter(|name| *name != self.powder().name);
        Some(FoundOddity::note(Oddity::OtherPowder { factor: d50.lot.mean / d50.grade_um, nearer }))
    }

    /// What a sieve test asks for on frames of this size; 0 for any other measurement.
    fn least_on_sieves_g(&self, record: &SizeRecord, sieve_mm: f64) -> f64 {
        const USUAL_MM: f64 = 200.0;
        let sieved = record.measured.is_some_and(|m| m.kind == TableKind::Sieve);
        if sieved { self.limits().sieve_sample_g * (sieve_mm / USUAL_MM).powi(2) } else { 0.0 }
    }

    /// The mass from which the share of grains coarser than the grade's D90 is known well enough.
    fn least_sample_g(&self) -> f64 {
        const COARSE: f64 = 0.1;
        let (limits, size) = (self.limits(), &self.powder().size.distribution);
        // The middle of the coarse tenth and the top size are the same percentile.
        let top_cm = size.quantile(1.0 - COARSE / 2.0) * 1e-4;
        let grains = SampledGrains { shape: limits.gy_shape, range: limits.gy_range, top_cm };
        let heterogeneity = grains.of_class_g(COARSE, top_cm, self.powder().density.get());
        let sd = relative_sd(limits.gy_error_pct / 100.0, limits.gy_confidence_pct / 100.0);
        limits.gy_safety * least_mass_g(heterogeneity, sd, 1)
    }
}

/// What a verdict hangs on: of a lot as it was measured, or as another measurement of it might have come out.
pub(super) struct LotFigures {
    /// Tolerances that D10, D50 and D90 lie off.
    pub tolerances_off: [f64; 3],
    /// Above the top size, %; it counts where it is known.
    pub over_top_pct: f64,
    /// Change of the index, %.
    pub change_pct: f64,
    /// Rank of the scrub's band.
    pub rank: usize,
    /// Whether some parts bring the index back.
    pub has_parts: bool,
}

impl LotJudged {
    fn decide(&mut self, rework_factor: f64) {
        let weighed = LotFigures {
            tolerances_off: [0, 1, 2].map(|i| self.figures[i].tolerances_off()),
            over_top_pct: self.top.lot_pct[0],
            change_pct: self.index_change_pct(),
            rank: self.with_lot.verdict.rank,
            has_parts: self.rebalanced.is_some(),
        };
        (self.verdict, self.reasons) = self.weigh(&weighed, rework_factor);
        if self.verdict == LotVerdict::Refuse {
            // Parts worked out from a lot that must not be used would be used.
            self.rebalanced = None;
        }
    }

    /// What is judged and no sieve told.
    fn not_known(&self) -> Vec<Reason> {
        let matters = |i: &usize| !self.figures[*i].known && !self.figures[*i].within_anyway;
        let percentiles = (0..3).filter(matters).map(Reason::NotKnown);
        self.top.is_open().then_some(Reason::TopNotKnown).into_iter().chain(percentiles).collect()
    }

    /// The verdict, and why the lot is not simply accepted.
    pub(super) fn weigh(&self, weighed: &LotFigures, rework_factor: f64) -> (LotVerdict, Vec<Reason>) {
        let mut refused = Vec::new();
        if self.findings.iter().any(|f| f.grave) {
            refused.push(Reason::Measurement);
        }
        if self.top.is_over(weighed.over_top_pct) {
            refused.push(Reason::OverTop);
        }
        // What no sieve told is neither within its limits nor beyond them, and what follows from it is not known either.
        let unknown = self.not_known();
        let is_known = unknown.is_empty();
        refused.extend(unknown);
        let held = |i: &usize| self.figures[*i].is_held();
        let beyond = |least: f64| (0..3).filter(held).filter(move |&i| weighed.tolerances_off[i] > least + 1e-9);
        refused.extend(beyond(rework_factor).map(Reason::OtherGrade));
        let mut reworked: Vec<Reason> = beyond(1.0).map(Reason::Beyond).collect();
        if is_known && weighed.change_pct.abs() > self.index_limit_pct {
            reworked.push(Reason::Index(weighed.change_pct));
        }
        if is_known && weighed.rank != self.before.verdict.rank {
            reworked.push(Reason::Band);
        }
        if is_known && !reworked.is_empty() && !weighed.has_parts {
            refused.push(Reason::NoParts);
        }
        let verdict = match (refused.is_empty(), reworked.is_empty()) {
            (false, _) => LotVerdict::Refuse,
            (true, false) => LotVerdict::AcceptWithNewParts,
            (true, true) => LotVerdict::Accept,
        };
        // A percentile that is another grade's is not said to be beyond its tolerance as well.
        reworked.retain(|r| !matches!(r, Reason::Beyond(i) if refused.contains(&Reason::OtherGrade(*i))));
        (verdict, refused.into_iter().chain(reworked).collect())
    }
}

/// Whether a measurement tells how much is coarser than a size.
fn tells(record: &SizeRecord, um: f64) -> bool {
    let (least, most) = record.coarser_than(um);
    most - least <= TO_THE_LAST / 100.0
}

/// The finest size that was measured, where a size lies below it; else there is no telling how far up it may lie.
fn below_um(record: &SizeRecord, um: f64) -> f64 {
    let pan = record.classes.first().filter(|c| c.open && um < c.upper_um);
    pan.map_or(f64::INFINITY, |c| c.upper_um)
}

/// Says so when not all tables were measured alike.
pub(super) fn mixed_methods(lot: &[LotTable]) -> Option<FoundOddity> {
    let mut kinds = lot.iter().filter_map(|t| t.record.measured.map(|m| m.kind));
    let first = kinds.next()?;
    let other = kinds.find(|k| *k != first)?;
    Some(FoundOddity::note(Oddity::MixedMethods { first, other }))
}

/// One record, or the mean of several: at every size of any of them, the mean of their undersizes.
pub(super) fn mean_record(records: &[&SizeRecord]) -> Result<SizeRecord, LotError> {
    let (first, rest) = records.split_first().ok_or(LotError::NoTable)?;
    if rest.is_empty() {
        return Ok((*first).clone());
    }
    if let Some(all) = records.iter().map(|r| r.sieved.as_ref()).collect::<Option<Vec<_>>>() {
        let before: Vec<&SizeRecord> = all.iter().map(|sieved| &*sieved.of).collect();
        return Ok(mean_record(&before)?.sieved(all[0].by)?);
    }
    let edges = records.iter().flat_map(|r| r.classes.iter().flat_map(|c| [c.lower_um, c.upper_um]));
    let mut sizes: Vec<f64> = edges.collect();
    sizes.sort_by(f64::total_cmp);
    sizes.dedup_by(|a, b| *a / *b < 1.0 + 1e-9);
    let mean = |x: f64| records.iter().map(|r| r.distribution.undersize(x)).sum::<f64>() / records.len() as f64;
    // Rounding must not make a flat stretch fall.
    let mut highest = 0.0_f64;
    let mut rising = |x: f64| {
        highest = highest.max(mean(x));
        highest
    };
    let knots: Vec<(f64, f64)> = sizes.iter().map(|&x| (x, rising(x))).collect();
    let class = |w: &[(f64, f64)]| {
        let (lower_um, upper_um) = (w[0].0, w[1].0);
        let mut open = records.iter().flat_map(|r| &r.classes).filter(|c| c.open);
        let open = open.any(|c| c.lower_um < upper_um && lower_um < c.upper_um);
        Class { lower_um, upper_um, share: w[1].1 - w[0].1, open }
    };
    let classes = knots.windows(2).map(class).collect();
    let typed: Result<Vec<_>, SizeError> = knots.iter().map(|k| Ok((Micrometres::new(k.0)?, k.1))).collect();
    let distribution = SizeDistribution::measured(&typed?)?;
    let basis = format!("mean of {} tables", records.len());
    Ok(SizeRecord { distribution, classes, basis, ..(*first).clone() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::powder::invented::{gpa, grains, log_normal};
    use crate::tables::Tables;
    use approx::assert_relative_eq;

    /// Four parts of a fine powder and two of a coarse one, 6 % of the scrub.
    fn scrub(tables: &Tables) -> Scrub {
        let powder = |name: &str, median_um: f64, parts: f64| {
            let powder = grains(name, 1.35, gpa(0.2), 0.35, log_normal(median_um, 1.3), tables);
            (powder, Parts::new(parts).unwrap())
        };
        let blend = Blend::new(vec![powder("fine", 60.0, 4.0), powder("coarse", 165.0, 2.0)]).unwrap();
        Scrub { name: "test".into(), load: LoadPercent::new(6.0).unwrap(), load_range: None, blend }
    }

    fn case<'a>(scrub: &'a Scrub, tables: &'a Tables, judge: &'a Judge) -> LotCase<'a> {
        LotCase { judge, tables, scrub, place: 1, sample_g: None, sieve_mm: None, on_skin: OnSkinOf::ALL }
    }

    #[test]
    fn more_of_a_powder_leaves_the_grams_of_all_others() {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let scrub = scrub(&tables);
        let case = case(&scrub, &tables, &judge);
        // By hand: 4 % of the fine powder and 2 % of the coarse one; 300 % is more than the parts that may be written say.
        for pct in [0.5, 2.0, 3.5, 60.0] {
            let made = case.weighed_with(&scrub, pct).unwrap();
            assert_relative_eq!(made.load.get(), 4.0 + pct, max_relative = 1e-12);
            for (component, wanted) in made.blend.components().iter().zip([4.0, pct]) {
                assert_relative_eq!(made.load.get() * component.mass, wanted, max_relative = 1e-12);
            }
        }
        assert!(case.weighed_with(&scrub, 97.0).is_none());
    }

    #[test]
    fn a_lot_is_refused_reworked_or_accepted_by_its_figures() {
        use LotVerdict::{Accept, AcceptWithNewParts, Refuse};
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let scrub = scrub(&tables);
        let record = scrub.blend.components()[1].powder.size.clone();
        let lot = [LotTable { file: "t.csv".into(), record, sha256: String::new(), charged_g: None }];
        let judged = case(&scrub, &tables, &judge).judge(&lot).unwrap();
        // The lot is the grade itself. Limits of acceptance.csv: 5 % over the top size, 10 % of the index; 3 tolerances are another grade.
        assert_eq!((judged.verdict, judged.top.limit_pct, judged.index_limit_pct), (Accept, Some(5.0), 10.0));
        let rank = judged.before.verdict.rank;
        let cases = [
            ([0.0, 0.0, 0.0], 0.0, 0.0, rank, false, Accept, vec![]),
            ([1.0, 1.0, 1.0], 5.0, -10.0, rank, false, Accept, vec![]),
            ([0.0, 1.1, 0.0], 0.0, 0.0, rank, true, AcceptWithNewParts, vec![Reason::Beyond(1)]),
            ([0.0, 1.1, 0.0], 0.0, 0.0, rank, false, Refuse, vec![Reason::NoParts, Reason::Beyond(1)]),
            ([0.0, 0.0, 3.0], 0.0, 0.0, rank, true, AcceptWithNewParts, vec![Reason::Beyond(2)]),
            ([1.1, 0.0, 3.1], 0.0, 0.0, rank, true, Refuse, vec![Reason::OtherGrade(2), Reason::Beyond(0)]),
            ([0.0, 0.0, 0.0], 5.1, 0.0, rank, true, Refuse, vec![Reason::OverTop]),
            ([0.0, 0.0, 0.0], 0.0, -10.1, rank, true, AcceptWithNewParts, vec![Reason::Index(-10.1)]),
            ([0.0, 0.0, 0.0], 0.0, 0.0, rank + 1, true, AcceptWithNewParts, vec![Reason::Band]),
        ];
        for (tolerances_off, over_top_pct, change_pct, rank, has_parts, verdict, reasons) in cases {
            let weighed = LotFigures { tolerances_off, over_top_pct, change_pct, rank, has_parts };
            assert_eq!(judged.weigh(&weighed, 3.0), (verdict, reasons));
        }
    }
}
