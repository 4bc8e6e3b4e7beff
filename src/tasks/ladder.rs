//! A quantity of a scrub walked, or two as a map.

use super::{Done, Means, TaskError, asked};
use crate::band::Arrival;
use crate::design::{Ladder, Map, Varied};
use crate::plot::{ladder_picture, map_picture};
use crate::report::WalkReport;
use crate::source::Source;

/// Steps where nothing is said.
pub const USUAL_POINTS: usize = 25;

/// What is asked.
pub struct LadderRequest<'a> {
    /// The scrub file.
    pub scrub: Source<'a>,
    /// One or two quantities with their ends, as people write them: `olive.parts=0..6`.
    pub vary: &'a [String],
    /// Steps, of a map along each side.
    pub points: usize,
    /// Draw it.
    pub picture: bool,
}

/// Walks a scrub.
///
/// # Errors
/// [`TaskError`].
pub fn ladder(request: &LadderRequest, means: Means) -> Result<Done<WalkReport>, TaskError> {
    let Means { tables, judge } = means;
    let on_skin = means.on_skin(request.scrub)?;
    let (scrub, arrives) = (&on_skin.weighed.scrub, on_skin.weighed.arrival(tables));
    let arrives = on_skin.jar_dissolves().then_some(&arrives as Arrival);
    let varied = Varied::read(request.vary, scrub).map_err(|e| asked("vary", e))?;
    if let [x, y] = *varied.as_slice() {
        if request.points > Map::MOST_POINTS {
            let problem = format!("a map takes 2 to {} steps a side, not {}", Map::MOST_POINTS, request.points);
            return Err(asked("points", problem));
        }
        let map = Map::on_its_way(judge, scrub, arrives, [x, y], request.points);
        let picture = request.picture.then(|| map_picture(scrub, judge, &map)).transpose()?;
        return Ok(Done { report: WalkReport::of_map(&on_skin, judge, &map, tables), picture });
    }
    let one = *varied.first().ok_or_else(|| TaskError::Wrong("name a quantity to vary".to_owned()))?;
    let ladder = Ladder::on_its_way(judge, scrub, arrives, one, request.points);
    let picture = request.picture.then(|| ladder_picture(scrub, judge, &ladder)).transpose()?;
    Ok(Done { report: WalkReport::of_ladder(&on_skin, judge, &ladder, tables), picture })
}
