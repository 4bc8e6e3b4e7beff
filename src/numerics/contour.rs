//! Outlines of a region that is known at the nodes of a grid (marching squares). Where exactly an outline cuts the edge
//! between two nodes is the caller's to solve; here is only which edges it cuts, and in which order.

use std::collections::BTreeMap;

/// A node of a grid: column and row.
pub type GridNode = (usize, usize);

/// Where an outline passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outlined {
    /// Through a node on the rim of the grid: there the region ends only because the grid does.
    Rim(GridNode),
    /// Between two neighbouring nodes, one inside the region and the other outside.
    Between(GridNode, GridNode),
}

/// An edge of the grid with a rim of outside nodes around it: its lower left node, and whether it runs upwards.
type Edge = (usize, usize, bool);

/// The outlines of the region, each closed (the last place is followed by the first), with the region on the left.
/// `inside` tells for every node; `middle` tells for the middle of a cell, given its lower left node, and is asked only
/// where two opposite corners are inside and the others outside.
pub fn outlines(
    columns: usize,
    rows: usize,
    inside: impl Fn(GridNode) -> bool,
    mut middle: impl FnMut(GridNode) -> bool,
) -> Vec<Vec<Outlined>> {
    let real = |(i, j): GridNode| (1..=columns).contains(&i) && (1..=rows).contains(&j);
    let within = |node: GridNode| real(node) && inside((node.0 - 1, node.1 - 1));
    let mut next: BTreeMap<Edge, Edge> = BTreeMap::new();
    for j in 0..=rows {
        for i in 0..=columns {
            let corners = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)].map(within);
            join_cell(&mut next, (i, j), corners, || middle((i - 1, j - 1)));
        }
    }
    let mut found = Vec::new();
    while let Some((&start, _)) = next.first_key_value() {
        let (mut edge, mut outline) = (start, Vec::new());
        while let Some(following) = next.remove(&edge) {
            outline.push(place(edge, real));
            edge = following;
        }
        found.push(outline);
    }
    found
}

/// Adds the steps of the outline through one cell, from the edge by which it comes in to the one by which it leaves.
fn join_cell(next: &mut BTreeMap<Edge, Edge>, (i, j): GridNode, corners: [bool; 4], middle: impl FnOnce() -> bool) {
    // Anticlockwise, as the corners: edge k lies between corner k and the one after it.
    let edges: [Edge; 4] = [(i, j, false), (i + 1, j, true), (i, j + 1, false), (i, j, true)];
    let falls = |k: usize| corners[k] && !corners[(k + 1) % 4];
    let rises = |k: usize| !corners[k] && corners[(k + 1) % 4];
    let saddle = (0..4).filter(|&k| falls(k)).count() == 2;
    let joined = saddle && middle();
    for k in (0..4).filter(|&k| falls(k)) {
        // Joined corners share their outlines, so it goes on to the next corner inside; else back around its own.
        let order: [usize; 3] = if joined { [1, 2, 3] } else { [3, 2, 1] };
        let end = order.map(|step| (k + step) % 4).into_iter().find(|&k| rises(k));
        if let Some(end) = end {
            next.insert(edges[k], edges[end]);
        }
    }
}

fn place((i, j, upwards): Edge, real: impl Fn(GridNode) -> bool) -> Outlined {
    let (a, b) = ((i, j), if upwards { (i, j + 1) } else { (i + 1, j) });
    let unpadded = |n: GridNode| (n.0 - 1, n.1 - 1);
    match (real(a), real(b)) {
        (true, true) => Outlined::Between(unpadded(a), unpadded(b)),
        (true, false) => Outlined::Rim(unpadded(a)),
        _ => Outlined::Rim(unpadded(b)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(rows: [&str; 4], middle: bool) -> Vec<Vec<Outlined>> {
        outlines(4, 4, |(i, j)| rows[j].as_bytes()[i] == b'#', |_| middle)
    }

    fn area(outline: &[Outlined]) -> f64 {
        let at = |p: &Outlined| match *p {
            Outlined::Rim((i, j)) => (i as f64, j as f64),
            Outlined::Between(a, b) => (0.5 * (a.0 + b.0) as f64, 0.5 * (a.1 + b.1) as f64),
        };
        let points: Vec<(f64, f64)> = outline.iter().map(at).collect();
        let next = points.iter().cycle().skip(1);
        points.iter().zip(next).map(|(a, b)| 0.5 * (a.0 * b.1 - b.0 * a.1)).sum()
    }

    #[test]
    fn an_island_is_one_outline_with_the_region_on_its_left() {
        let found = drawn(["....", ".#..", "....", "...."], false);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].len(), 4);
        assert_eq!(area(&found[0]), 0.5);
    }

    #[test]
    fn a_whole_grid_is_its_rim_and_a_hole_runs_the_other_way() {
        let whole = drawn(["####"; 4], false);
        assert_eq!(whole.iter().map(|o| area(o)).sum::<f64>(), 9.0);
        assert!(whole[0].iter().all(|p| matches!(p, Outlined::Rim(_))));
        let holed = drawn(["####", "#.##", "####", "####"], false);
        assert_eq!(holed.len(), 2);
        assert_eq!(holed.iter().map(|o| area(o)).sum::<f64>(), 8.5);
    }

    #[test]
    fn a_saddle_is_joined_or_parted_by_its_middle() {
        let rows = ["....", ".#..", "..#.", "...."];
        let (parted, joined) = (drawn(rows, false), drawn(rows, true));
        assert_eq!((parted.len(), joined.len()), (2, 1));
        assert_eq!(area(&parted[0]) + area(&parted[1]), 1.0);
        assert_eq!(area(&joined[0]), 1.5);
    }
}
