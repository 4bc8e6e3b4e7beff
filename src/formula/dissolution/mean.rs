//! The mean of what a rub does, over its duration.

use super::course::Course;
use super::severity::Turns;
use crate::numerics::panel;

/// Where panels end, in parts of the loss of each powder: the last halvings are for water that fills up, which takes ever
/// longer for ever less.
const PARTS: [f64; 12] = [0.0, 0.0625, 0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 0.9375, 0.984_375, 1.0];

/// Panels shorter than this part of the rub are left to their neighbours.
const SHORTEST: f64 = 1e-9;

/// Mean over `seconds` of what `at` gives for a time. Grains change fast at first and hardly at all at the end, so panels end
/// at even losses of every powder, not at even times, and at the turns that what it does takes.
pub(super) fn mean_over_the_rub(
    courses: &[Option<Course>],
    turns_um: &[Turns],
    seconds: f64,
    at: impl Fn(f64) -> f64,
) -> f64 {
    let mut edges = vec![0.0, seconds];
    for (course, turns) in courses.iter().zip(turns_um) {
        let Some(course) = course else { continue };
        let start = course.start_um();
        let way = course.loss_at(seconds).min(turns[2]) - start;
        let marks = PARTS.iter().map(|part| course.seconds_at(start + part * way));
        let turns = turns.iter().map(|turn| course.seconds_at(*turn));
        edges.extend(marks.chain(turns).filter(|t| (0.0..seconds).contains(t)));
    }
    edges.sort_by(f64::total_cmp);
    edges.dedup_by(|a, b| *a - *b < SHORTEST * seconds);
    let rule = panel::rule();
    let panel = |edge: &[f64]| {
        let width = edge[1] - edge[0];
        width * rule.integral(&rule.node.map(|s| at(edge[0] + width * s)))
    };
    edges.windows(2).map(panel).sum::<f64>() / seconds
}
