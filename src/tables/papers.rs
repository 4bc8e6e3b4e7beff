//! The tables behind a maker's papers: texts of a label, tolerances of fill weights, what a stability plan tests, what a supplier is asked.

use super::rows::{Ranged, Within, rows, several};
use super::{TableError, TableFile, refuse_repeats, without_lines};
use crate::source::words;

words! {
    /// Whether a weighing spoils the unit.
    pub enum SamplingKind {
        /// The content is known without opening it, as by its gross weight less the tare.
        NonDestructive = "non-destructive",
        /// It is opened.
        Destructive = "destructive",
    }
}

words! {
    /// At which pulls a stability test is made.
    pub enum PullKind {
        /// At each.
        All = "all",
        /// At those where the scrub is looked at, and at all others.
        Look = "look",
        /// At the start and at the end.
        End = "end",
    }
}

rows! {
    /// `label-texts.csv`: a text of a label, and when.
    pub struct LabelText {
        /// When: something that is in the scrub, its band, or its use.
        pub trigger: String,
        /// The text; `{names}` is filled in.
        pub text: String,
    }

    /// `prepackages.csv`: how far a unit's content may fall short of the nominal one.
    pub struct TolerableError {
        /// Nominal contents above this, g or mL,
        pub above: f64,
        /// up to this.
        pub up_to: f64,
        /// Tolerable negative error, % of the nominal content.
        pub error_pct: Option<f64>,
        /// The same, g or mL.
        pub error_g: Option<f64>,
        /// Height of the figures that state the content, mm at least.
        pub figure_mm: f64,
    }

    /// `prepackage-sampling.csv`: how many units of a batch an inspector weighs, and when the batch is accepted.
    pub struct SamplingPlan {
        /// Batches of more units than this,
        pub above: u32,
        /// up to this.
        pub up_to: u32,
        /// Whether the units are opened for it.
        pub kind: SamplingKind,
        /// Units of the first sample.
        pub first: usize,
        /// With so many defective units in it the batch is accepted,
        pub accept: usize,
        /// with so many it is refused; between the two a second sample decides.
        pub reject: usize,
        /// Units of both samples.
        pub total: usize,
        /// With so many defective ones in both it is accepted,
        pub total_accept: usize,
        /// with so many it is refused.
        pub total_reject: usize,
        /// Units of which the mean is taken.
        pub mean_of: usize,
        /// How far the mean may be below the nominal content, standard deviations of the units.
        pub mean_factor: f64,
    }

    /// `stability-pulls.csv`: where samples stand, and when they are taken.
    pub struct StabilityPull {
        /// Where they stand.
        pub condition: String,
        /// Weeks after the start.
        #[serde(deserialize_with = "several_weeks")]
        pub weeks: Vec<u32>,
        /// What is tested.
        pub test: PullKind,
        /// What for.
        pub why: String,
    }

    /// `stability-tests.csv`: a test, and what calls for it.
    pub struct StabilityTest {
        /// A check that is open, a flag of a powder, something that is in the scrub, or `always`.
        pub trigger: String,
        /// At which pulls.
        pub kind: PullKind,
        /// What is done.
        pub test: String,
        /// What is to come out.
        pub limit: String,
    }

    /// `supplier-questions.csv`: what a supplier is asked for a powder.
    pub struct SupplierQuestion {
        /// Its name.
        pub key: String,
        /// `always`, `mineral`, `plant`, `protein`, or a property that no measurement is known of.
        pub trigger: String,
        /// What is asked.
        pub ask: String,
        /// What for.
        pub why: String,
    }
}

/// Weeks with spaces between.
fn several_weeks<'de, D: serde::Deserializer<'de>>(cell: D) -> Result<Vec<u32>, D::Error> {
    let words: Vec<String> = several(cell)?;
    let week = |word: &String| word.parse().map_err(|_| serde::de::Error::custom(format!("\"{word}\" is no week")));
    words.iter().map(week).collect()
}

impl Ranged for TolerableError {
    fn ranges(&self) -> Vec<Within> {
        let up_to = ("up_to", self.up_to, self.above, f64::INFINITY);
        let error = [("error_pct", self.error_pct, 50.0), ("error_g", self.error_g, self.up_to)];
        let error = error.into_iter().filter_map(|(name, value, most)| Some((name, value?, 0.0, most)));
        error.chain([up_to, ("figure_mm", self.figure_mm, 0.1, 100.0)]).collect()
    }
}

/// The tables behind the papers.
#[derive(Debug, Clone)]
pub struct PaperTables {
    /// Texts of a label.
    pub label_texts: Vec<LabelText>,
    /// Tolerances of fill weights, rising.
    pub prepackages: Vec<TolerableError>,
    /// An inspector's samples, by size of the batch.
    pub sampling: Vec<SamplingPlan>,
    /// Pulls of a stability plan.
    pub pulls: Vec<StabilityPull>,
    /// Tests of a stability plan.
    pub tests: Vec<StabilityTest>,
    /// Questions to a supplier.
    pub questions: Vec<SupplierQuestion>,
}

impl PaperTables {
    pub(super) fn read<'a>(find: &impl Fn(&'static str) -> &'a TableFile) -> Result<Self, TableError> {
        let file = find("supplier-questions");
        let questions: Vec<(usize, SupplierQuestion)> = file.rows()?;
        refuse_repeats(file, &questions, |q| q.key.clone())?;
        Ok(Self {
            label_texts: without_lines(find("label-texts").rows()?),
            prepackages: prepackages(find("prepackages"))?,
            sampling: sampling(find("prepackage-sampling"))?,
            pulls: without_lines(find("stability-pulls").rows()?),
            tests: without_lines(find("stability-tests").rows()?),
            questions: without_lines(questions),
        })
    }

    /// The plan for a batch of so many units; none for a batch that is weighed whole, or is too large for one.
    pub fn sampling(&self, units: u32, kind: SamplingKind) -> Option<&SamplingPlan> {
        self.sampling.iter().find(|p| p.kind == kind && p.above < units && units <= p.up_to)
    }

    /// The row of a nominal content, g or mL.
    pub fn tolerable(&self, nominal: f64) -> Option<&TolerableError> {
        self.prepackages.iter().find(|row| row.above < nominal && nominal <= row.up_to)
    }
}

impl TolerableError {
    /// Tolerable negative error of a nominal content, both g or both mL; a percentage is rounded up to the tenth.
    pub fn of(&self, nominal: f64) -> f64 {
        let share = self.error_pct.map_or(0.0, |pct| pct / 100.0 * nominal);
        // 9.000000001 tenths are nine.
        self.error_g.unwrap_or((share * 10.0 - 1e-9).ceil() / 10.0)
    }
}

fn sampling(file: &TableFile) -> Result<Vec<SamplingPlan>, TableError> {
    let rows: Vec<(usize, SamplingPlan)> = file.rows()?;
    for (line, p) in &rows {
        let rises = p.above < p.up_to && 1 < p.mean_of && 0 < p.first && p.first <= p.total;
        let decides = p.accept < p.reject && p.total_accept + 1 == p.total_reject && p.accept <= p.total_accept;
        if !rises || !decides || !(0.0..=10.0).contains(&p.mean_factor) {
            let wrong = "a plan needs above < up_to, 0 < first <= total, mean_of above 1, accept < reject, total_reject one more than \
                         total_accept, and mean_factor between 0 and 10";
            return Err(file.error(*line, wrong));
        }
    }
    Ok(without_lines(rows))
}

fn prepackages(file: &TableFile) -> Result<Vec<TolerableError>, TableError> {
    let rows: Vec<(usize, TolerableError)> = super::ranged(file)?;
    for (line, row) in &rows {
        if row.error_pct.is_some() == row.error_g.is_some() {
            return Err(file.error(*line, "give exactly one of error_pct and error_g"));
        }
    }
    if let Some(pair) = rows.windows(2).find(|w| w[0].1.up_to != w[1].1.above) {
        return Err(file.error(pair[1].0, "each row must begin where the one before it ends"));
    }
    Ok(without_lines(rows))
}
