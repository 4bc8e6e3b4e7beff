//! What a code of a register of batches leads to.

use crate::records::batches::Batches;
use crate::report::TraceReport;
use crate::source::nearest;
use crate::tables::PaperTables;

/// What a code leads to, and the code that was meant where it leads nowhere.
pub struct Traced {
    /// What it leads to.
    pub report: TraceReport,
    /// The nearest code of the register, where this one is none of it.
    pub meant: Option<String>,
}

/// Looks up a code, of a batch or a lot, in the register that goes by a name.
pub fn trace(code: &str, register: &str, batches: &Batches, tables: &PaperTables) -> Traced {
    let report = TraceReport::new(code, register, batches, tables);
    let codes = batches.codes();
    let near = nearest(code, codes.iter().map(String::as_str)).filter(|_| !report.is_found());
    Traced { meant: near.map(str::to_owned), report }
}
