//! The picture of a lot beside its grade.

use super::PlotError;
use super::chart::{Curve, MAIN, Mark, POWDERS};
use super::pictures::{Picture, as_percent, chart, inside, padded, sample, shortened, size_grid, stacked};
use crate::lots::lot::{HeldFigure, LotCase, LotJudged};
use crate::numerics::written::three;

/// Frequency above and cumulative undersize below, of the lot and of the grade it is held against.
///
/// # Errors
/// [`PlotError`] when the chart library refuses.
pub fn lot_picture(case: &LotCase, judged: &LotJudged) -> Result<Picture, PlotError> {
    let powder = &case.scrub.blend.components()[case.place].powder;
    let grade = &powder.size.distribution;
    let lot = &judged.scrub.blend.components()[case.place].powder.size.distribution;
    let both = [lot, grade];
    let end = |p: f64| both.map(|d| d.quantile(p));
    let least = |v: [f64; 2]| v[0].min(v[1]);
    let sizes = size_grid(padded(least(end(0.001)), end(0.999)[0].max(end(0.999)[1]), least(end(0.1))));
    let curves = |value: &dyn Fn(&crate::size::SizeDistribution, f64) -> f64, shaded: bool| {
        let of = |name, pen, d| Curve::new(name, pen, sample(&sizes, |x| value(d, x)));
        vec![of("this lot", MAIN, lot).shaded(shaded), of("the grade", POWDERS[0], grade)]
    };
    let name = shortened(&powder.name);
    let frequency = curves(&|d, x| d.density_ln(x.ln()), true);
    let upper = chart(&sizes, format!("{name}: lot and grade"), "share per unit of ln size", frequency);
    let undersize = curves(&|d, x| d.undersize(x), false);
    let mut lower = chart(&sizes, format!("{name}: finer than"), "finer than, by volume", undersize);
    let mark = |(f, p): (&HeldFigure, f64)| {
        let size_um = lot.quantile(p);
        Mark { size_um, value: p, label: format!("{} {} µm", f.name, three(size_um)) }
    };
    let marks = judged.figures.iter().zip([0.1, 0.5, 0.9]).filter(|(f, _)| f.known).map(mark);
    lower.marks = marks.filter(|m| inside(&sizes, m.size_um)).collect();
    as_percent(&mut lower);
    let said = |f: &HeldFigure| {
        let [lot, grade] = [(f.known, f.lot.mean), (f.grade_known, f.grade_um)]
            .map(|(known, um)| if known { format!("{} µm", three(um)) } else { "not known".to_owned() });
        format!("{} {lot}, grade {grade}", f.name)
    };
    let said: Vec<String> = judged.figures.iter().map(said).collect();
    let description = format!("Grain sizes of a lot of {} beside its grade: {}.", powder.name, said.join("; "));
    stacked("lot", [&upper, &lower], &format!("A lot of {}", powder.name), &description)
}
