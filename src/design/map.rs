//! Two quantities of a scrub varied at once: index and band over both, and the borders between bands, each of its points
//! solved on an edge of a grid.

use super::ladder::{solved, watched};
use super::vary::Varied;
use crate::band::{Arrival, Judge, Variation};
use crate::blend::Scrub;
use crate::numerics::contour::{self, GridNode, Outlined};

/// A point of the map: values of the first and the second quantity.
pub type Point = (f64, f64);

/// A line between two bands.
#[derive(Debug, Clone, PartialEq)]
pub struct Border {
    /// Rank of the milder band.
    pub from: usize,
    /// Rank of the harsher one.
    pub to: usize,
    /// Points of the line in order; straight between them. A closed line ends where it starts.
    pub points: Vec<Point>,
}

/// A scrub over two quantities.
#[derive(Debug, Clone, PartialEq)]
pub struct Map {
    /// What is varied: across, then upwards.
    pub varied: [Varied; 2],
    /// Where the scrub itself stands.
    pub now: Point,
    /// Equal steps of the first quantity.
    pub x: Vec<f64>,
    /// Equal steps of the second.
    pub y: Vec<f64>,
    /// Abrasiveness index: one row for every y, one value in it for every x.
    pub index: Vec<Vec<f64>>,
    /// Rank of the band, in the same order.
    pub rank: Vec<Vec<usize>>,
    /// For each band, mild to harsh, the closed outlines of where its limits are met (holes run clockwise).
    pub regions: Vec<Vec<Vec<Point>>>,
    /// The lines between bands.
    pub borders: Vec<Border>,
    /// Positions of the sites at which the rub is grain-borne somewhere on the grid.
    pub borne: Vec<usize>,
}

/// Cells a side of the grid on which borders are looked for, at least. An island smaller than a cell may be missed.
const CELLS: usize = 48;

impl Map {
    /// Most steps a side that a map is drawn up in within a second or so.
    pub const MOST_POINTS: usize = 100;

    /// Varies two quantities of a scrub; `points` equal steps of each (at least 2) go into the table.
    pub fn new(judge: &Judge, scrub: &Scrub, varied: [Varied; 2], points: usize) -> Self {
        Self::on_its_way(judge, scrub, None, varied, points)
    }

    /// The same of a scrub as it is weighed in, by what arrives of it at the skin.
    pub fn on_its_way(
        judge: &Judge,
        weighed: &Scrub,
        arrives: Option<Arrival>,
        varied: [Varied; 2],
        points: usize,
    ) -> Self {
        let cells = points.max(2) - 1;
        let finer = CELLS.div_ceil(cells);
        let field = Field::new(Variation::on_its_way(judge, weighed, arrives), varied, finer * cells + 1);
        let mut borders = Vec::new();
        let mut regions = Vec::new();
        for rank in 0..judge.bands().len() {
            let outlines = field.outlines(rank);
            borders.extend(outlines.iter().flat_map(|outline| borders_of(rank, outline)));
            regions.push(outlines.iter().map(|outline| outline.iter().map(|v| v.point).collect()).collect());
        }
        let every = |values: &[f64]| values.iter().copied().step_by(finer).collect::<Vec<f64>>();
        let rows = || field.nodes.iter().step_by(finer);
        let bands = judge.bands().len();
        let beyond = |figure: usize| rows().any(|row| row.iter().step_by(finer).any(|n| n.watched[figure] > 0.0));
        Self {
            varied,
            now: (field.variation.stands(varied[0].quantity), field.variation.stands(varied[1].quantity)),
            x: every(&field.x),
            y: every(&field.y),
            index: rows().map(|row| row.iter().step_by(finer).map(|n| n.index).collect()).collect(),
            rank: rows().map(|row| row.iter().step_by(finer).map(|n| n.rank).collect()).collect(),
            regions,
            borders,
            borne: (0..judge.model().sites().len()).filter(|site| beyond(bands + site)).collect(),
        }
    }
}

/// What the map knows of one point.
struct MapReading {
    index: f64,
    rank: usize,
    watched: Vec<f64>,
}

/// A vertex of an outline, with the bands on both sides where it lies between two.
#[derive(Clone, Copy)]
struct OutlineVertex {
    point: Point,
    sides: Option<usize>,
}

struct Field<'a> {
    variation: Variation<'a>,
    varied: [Varied; 2],
    x: Vec<f64>,
    y: Vec<f64>,
    nodes: Vec<Vec<MapReading>>,
}

impl<'a> Field<'a> {
    fn new(variation: Variation<'a>, varied: [Varied; 2], count: usize) -> Self {
        let (x, y) = (varied[0].values(count), varied[1].values(count));
        let mut field = Self { variation, varied, x, y, nodes: Vec::new() };
        field.nodes = field.y.iter().map(|&y| field.x.iter().map(|&x| field.at((x, y))).collect()).collect();
        field
    }

    fn at(&self, (x, y): Point) -> MapReading {
        let assessment = self.variation.assess(&[(self.varied[0].quantity, x), (self.varied[1].quantity, y)]);
        MapReading {
            index: assessment.figures.index,
            rank: assessment.verdict.rank,
            watched: watched(self.variation.judge(), &assessment),
        }
    }

    fn point(&self, (i, j): GridNode) -> Point {
        (self.x[i], self.y[j])
    }

    /// Outlines of where the limits of a band are met.
    fn outlines(&self, rank: usize) -> Vec<Vec<OutlineVertex>> {
        let met = |(i, j): GridNode| self.nodes[j][i].watched[rank] <= 0.0;
        let middle = |(i, j): GridNode| {
            let centre = (0.5 * (self.x[i] + self.x[i + 1]), 0.5 * (self.y[j] + self.y[j + 1]));
            self.at(centre).watched[rank] <= 0.0
        };
        let outlines = contour::outlines(self.x.len(), self.y.len(), met, middle);
        outlines.into_iter().map(|o| o.into_iter().map(|place| self.vertex(rank, place)).collect()).collect()
    }

    fn vertex(&self, rank: usize, place: Outlined) -> OutlineVertex {
        let (a, b) = match place {
            Outlined::Rim(node) => return OutlineVertex { point: self.point(node), sides: None },
            Outlined::Between(a, b) => (self.point(a), self.point(b)),
        };
        let excess = |point: Point| self.at(point).watched[rank];
        let point = if a.1 == b.1 {
            (solved(|x| excess((x, a.1)), a.0, b.0).unwrap_or(a.0), a.1)
        } else {
            (a.0, solved(|y| excess((a.0, y)), a.1, b.1).unwrap_or(a.1))
        };
        // On the far side the scrub falls to the mildest other band; if that is milder still, no band ends here.
        let here = self.at(point).watched;
        let bands = self.variation.judge().bands().len();
        let other = (0..bands).find(|&r| r != rank && here[r] <= 0.0).unwrap_or(bands);
        OutlineVertex { point, sides: (other > rank).then_some(other) }
    }
}

/// The stretches of an outline of band `rank` along which it borders on one harsher band.
fn borders_of(rank: usize, outline: &[OutlineVertex]) -> Vec<Border> {
    let count = outline.len();
    let border = |to: usize, points: Vec<Point>| Border { from: rank, to, points };
    let Some(start) = (0..count).find(|&i| outline[i].sides != outline[(i + count - 1) % count].sides) else {
        let closed = outline.iter().chain(outline.first()).map(|v| v.point).collect();
        return outline.first().and_then(|v| v.sides).map(|to| border(to, closed)).into_iter().collect();
    };
    let turned: Vec<OutlineVertex> = outline[start..].iter().chain(&outline[..start]).copied().collect();
    let stretches = turned.chunk_by(|a, b| a.sides == b.sides).filter(|s| s.len() > 1);
    stretches.filter_map(|s| Some(border(s[0].sides?, s.iter().map(|v| v.point).collect()))).collect()
}
