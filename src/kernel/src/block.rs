//! The rubs of several draws side by side, worked out only as far as index and groove ratio need them. Every quantity is held for all
//! draws of a block together, so that the loops over grain sizes run on vector registers; nothing in them hangs on the draw, since
//! all draws have the same nodes ([`StandingPanels`]), moved along with the warped sizes.

use crate::contact::Contact;
use crate::groove::{depth_weighted_section, edge_keeping, keenness};
use crate::lanes::{
    LANES, LaneRow, Lanes, Level, Real, Simd, each, exp, ln, load, newton, on_registers, on_registers_of, split,
    where_less,
};
use crate::rule::{ORDER, rule};
use crate::standing::{self, StandingPanels};
use crate::warp::{Warp, WarpBlock};
use fearless_simd::prelude::*;
use std::array::from_fn;
use std::sync::LazyLock;

/// Grains in a volume V of spheres of size x: V / (π x³ / 6).
pub const SPHERES: f64 = 6.0 / std::f64::consts::PI;

/// A Newton step of the gap, relative, below which a draw is done: the error left is of its square.
const GAP_STEP: f32 = 4e-3;

/// What a powder is like in each draw of a block, and its nodes.
#[derive(Debug, Clone)]
pub struct GrainBlock<'a> {
    pub(crate) panels: &'a StandingPanels,
    pub(crate) warps: WarpBlock,
    /// Volume per mass of scrub, cm³/g.
    pub(crate) volume: LaneRow,
    hardness_gpa: LaneRow,
    pub(crate) roundness: LaneRow,
    /// Size of each node, its inverse, and the load at the last gap for a layer of 1 / [`SPHERES`] and a stiffness of 1.
    size: Vec<LaneRow>,
    inverse: Vec<LaneRow>,
    pub(crate) load: Vec<LaneRow>,
    /// Load on each panel and all beyond, then 0, of the rub whose grooves were last looked for; below the first in use it is not set.
    pub(crate) beyond: Vec<LaneRow>,
    /// First panel that any draw of the block has above its gap; the loads below it are not set.
    pub(crate) first: usize,
    pub(crate) largest_um: LaneRow,
}

impl<'a> GrainBlock<'a> {
    /// Room for the grains of one powder.
    pub fn new(panels: &'a StandingPanels) -> Self {
        let nodes = vec![[0.0; LANES]; panels.share().len() * ORDER];
        Self {
            panels,
            warps: WarpBlock::NONE,
            volume: [0.0; LANES],
            hardness_gpa: [1.0; LANES],
            roundness: [1.0; LANES],
            size: nodes.clone(),
            inverse: nodes.clone(),
            load: nodes,
            beyond: vec![[0.0; LANES]; panels.share().len() + 1],
            first: 0,
            largest_um: [0.0; LANES],
        }
    }

    /// Sets density-free properties of one draw: hardness (GPa), roundness, volume per mass of scrub (cm³/g) and warp.
    pub fn set(&mut self, lane: usize, hardness_gpa: f64, roundness: f64, volume: f64, warp: &Warp) {
        (self.hardness_gpa[lane], self.roundness[lane]) = (hardness_gpa as f32, roundness as f32);
        self.volume[lane] = volume as f32;
        self.warps.set(lane, warp);
    }

    /// What [`crate::standing::d99_um`] needs.
    fn sizes(&self) -> (&StandingPanels, &WarpBlock, &LaneRow) {
        (self.panels, &self.warps, &self.volume)
    }

    /// Lays out the sizes of all draws after [`GrainBlock::set`].
    pub fn lay_out(&mut self) {
        on_registers!(Level::new(), simd => {
            for run in self.panels.runs() {
                let width = self.warps.stretch_at(Lanes::splat(simd, run.start_ln + 0.5 * run.width)) * run.width;
                let mut start = exp(self.warps.forward(Lanes::splat(simd, run.start_ln)));
                // Panels of one width are steps of one ratio; a node and its mirror image together make a whole step.
                let ratio = exp(width);
                let mut steps = [ratio; ORDER];
                for (k, node) in rule().node[..ORDER / 2].iter().enumerate() {
                    steps[k] = exp(width * *node as f32);
                    steps[ORDER - 1 - k] = ratio / steps[k];
                }
                let nodes = run.first * ORDER..(run.first + run.count) * ORDER;
                let panels =
                    self.size[nodes.clone()].chunks_exact_mut(ORDER).zip(self.inverse[nodes].chunks_exact_mut(ORDER));
                for (size, inverse) in panels {
                    for ((size, inverse), step) in size.iter_mut().zip(inverse).zip(&steps) {
                        *size = (start * *step).to_array();
                        *inverse = (1.0 / (start * *step)).to_array();
                    }
                    start *= ratio;
                }
                self.largest_um = start.to_array();
            }
        })
    }

    /// Size of the first node of every draw, µm.
    pub(crate) fn smallest_um(&self) -> &LaneRow {
        &self.size[0]
    }

    /// ∫ q/x dQ3 of every draw at its gap, and its slope by the gap, both in the unit of 1/x; sets the loads of the nodes.
    #[inline(never)]
    fn carry<S: Simd>(&mut self, gap: LogGap<S>) -> (Lanes<S>, Lanes<S>) {
        let simd = gap.um.simd;
        on_registers_of!(simd => {
            let (stated, stretch) = self.warps.back(gap.ln);
            let place = self.panels.place(stated);
            self.first = place.panel.iter().fold(
                usize::MAX,
                #[inline(always)]
                |first, p| first.min(*p),
            );
            let (mut sum, mut slope) = (gap.um.constant(0.0), gap.um.constant(0.0));
            let first = self.first * ORDER;
            let shares = self.panels.share().as_flattened()[first..].iter();
            for ((share, inverse), load_of) in shares.zip(&self.inverse[first..]).zip(&mut self.load[first..]) {
                let inverse = load(gap.um.simd, inverse);
                let q = squeezed(inverse, gap.um);
                let (root, weighted) = (q.sqrt(), inverse * *share);
                let own = weighted * q * root;
                *load_of = own.to_array();
                sum += own;
                slope += weighted * inverse * root;
            }
            // What the nodes of the panel that the gap cuts miss of the load: there it starts as (x − h)^(3/2).
            let width = place.width * stretch;
            let missed =
                self.panels.density(stated) * place.width * width * width.sqrt() / gap.um * missed_of_kink(place.part);
            ((sum + missed).max(0.0), slope * -1.5)
        })
    }

    /// η ∫ n A g² dx of every draw for its volume as layer, over [`SPHERES`].
    #[inline(never)]
    fn severity<S: Simd>(&self, gap_um: Lanes<S>, skin: &SkinBlock) -> Lanes<S> {
        let simd = gap_um.simd;
        on_registers_of!(simd => {
                    let roundness = load(simd, &self.roundness);
            let keen = skin.keenness(roundness);
            let mut sum = gap_um.constant(0.0);
            let first = self.first * ORDER;
            let shares = self.panels.share().as_flattened()[first..].iter();
            for ((share, size), inverse) in shares.zip(&self.size[first..]).zip(&self.inverse[first..]) {
                let q = squeezed(load(simd, inverse), gap_um);
                sum += load(simd, size) * *share * depth_weighted_section(keen * q * q.sqrt());
            }
            let quarter = roundness * roundness * 0.25;
            let edge = edge_keeping(load(simd, &self.hardness_gpa), load(simd, &skin.half_kept_gpa));
            edge * quarter * quarter * load(simd, &self.volume) * sum
        })
    }
}

/// 1 − h/x, 0 where the grain is no wider than the gap.
#[inline(always)]
fn squeezed<S: Simd>(inverse: Lanes<S>, gap_um: Lanes<S>) -> Lanes<S> {
    (1.0 - gap_um * inverse).max(0.0)
}

/// Places of [`MISSED`].
const KINK_STEPS: usize = 512;

/// ∫ (t − s)^(3/2) dt from s to 1, less what the six nodes make of it, at equal steps of s.
static MISSED: LazyLock<[f32; KINK_STEPS + 1]> = LazyLock::new(|| {
    let rule = rule();
    from_fn(|i| {
        let s = i as f64 / KINK_STEPS as f64;
        let nodes = rule.node.iter().zip(&rule.weight);
        (0.4 * (1.0 - s).powf(2.5) - nodes.map(|(t, w)| w * (t - s).max(0.0).powf(1.5)).sum::<f64>()) as f32
    })
});

/// [`MISSED`] at places of panels; 0 outside.
#[inline(always)]
fn missed_of_kink<S: Simd>(part: Lanes<S>) -> Lanes<S> {
    let missed: &[f32] = &*MISSED;
    let (step, t) = split(part.min(1.0).max(0.0) * KINK_STEPS as f32, part.constant((KINK_STEPS - 1) as f64));
    let below = each(
        part.simd,
        #[inline(always)]
        |l| missed[step[l] as usize],
    );
    let above = each(
        part.simd,
        #[inline(always)]
        |l| missed[step[l] as usize + 1],
    );
    where_less(part, part.constant(0.0), part.constant(0.0), below + (above - below) * t)
}

/// Skin, finger and rub at one site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Skin {
    /// Skin and finger pad.
    pub contact: Contact,
    /// Hardness of the wet horny layer, MPa.
    pub horn_hardness_mpa: f64,
    /// Hardness of a grain that keeps half its edge on it, GPa.
    pub half_kept_gpa: f64,
    /// The least gap, µm.
    pub least_gap_um: f64,
    /// Pressure of the rub, MPa.
    pub pressure_mpa: f64,
    /// Scrub on the skin, g/m².
    pub dose_g_m2: f64,
}

/// The same of each draw.
#[derive(Debug, Clone, Default)]
pub struct SkinBlock {
    stiffness_mpa: LaneRow,
    /// [`keenness`] of a roundness of 1.
    keenness: LaneRow,
    half_kept_gpa: LaneRow,
    least_gap_um: LaneRow,
    pressure_mpa: LaneRow,
    dose_g_m2: LaneRow,
}

impl SkinBlock {
    /// From what each of [`LANES`] draws has at the site.
    pub fn new(of: impl Iterator<Item = Skin>) -> Self {
        let mut block = Self::default();
        for (l, skin) in of.enumerate().take(LANES) {
            block.stiffness_mpa[l] = skin.contact.stiffness() as f32;
            block.keenness[l] = keenness(&skin.contact, 1.0, skin.horn_hardness_mpa) as f32;
            block.half_kept_gpa[l] = skin.half_kept_gpa as f32;
            block.least_gap_um[l] = skin.least_gap_um as f32;
            block.pressure_mpa[l] = skin.pressure_mpa as f32;
            block.dose_g_m2[l] = skin.dose_g_m2 as f32;
        }
        block
    }

    /// [`keenness`] of grains of each draw.
    #[inline(always)]
    pub(crate) fn keenness<S: Simd>(&self, roundness: Lanes<S>) -> Lanes<S> {
        load(roundness.simd, &self.keenness) / (roundness * roundness)
    }
}

/// A gap, and its logarithm.
#[derive(Debug, Clone, Copy)]
struct LogGap<S: Simd> {
    um: Lanes<S>,
    ln: Lanes<S>,
}

/// D99 of the blend of each draw by volume, µm.
pub fn d99_um(grains: &[GrainBlock]) -> LaneRow {
    standing::d99_um(grains.iter().map(GrainBlock::sizes))
}

/// Depth-weighted removal of all powders of each draw together, µm².
pub fn severities(grains: &mut [GrainBlock], skin: &SkinBlock) -> LaneRow {
    on_registers!(Level::new(), simd => SettledBlock::new(simd, grains, skin).severity(grains).to_array())
}

/// Groove depth below which 95 % of the load of each draw lies, µm; 0 when no grain touches.
pub fn grooves_p95_um(grains: &mut [GrainBlock], skin: &SkinBlock) -> LaneRow {
    on_registers!(Level::new(), simd => SettledBlock::new(simd, grains, skin).groove_p95_um(grains).to_array())
}

/// [`grooves_p95_um`] and [`severities`] of one rub.
pub fn grooves_and_severities(grains: &mut [GrainBlock], skin: &SkinBlock) -> (LaneRow, LaneRow) {
    on_registers!(Level::new(), simd => {
        let rub = SettledBlock::new(simd, grains, skin);
        (rub.groove_p95_um(grains).to_array(), rub.severity(grains).to_array())
    })
}

/// The rub of a block at its site, settled: the nodes' loads of every powder are those of its gaps.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SettledBlock<'s, S: Simd> {
    pub(crate) skin: &'s SkinBlock,
    pub(crate) gap_um: Lanes<S>,
    /// Σ volume · ∫ q/x dQ3.
    pub(crate) load: Lanes<S>,
}

impl<'s, S: Simd> SettledBlock<'s, S> {
    /// Finds the gap at which every draw settles. The carried load falls strictly with the gap; to the power 2/3 it is nearly
    /// straight in it, so Newton's steps are good from the start.
    #[inline(never)]
    pub fn new(simd: S, grains: &mut [GrainBlock], skin: &'s SkinBlock) -> Self {
        on_registers_of!(simd => {
            let scale = load(simd, &skin.stiffness_mpa) * load(simd, &skin.dose_g_m2) * SPHERES as f32;
            let goal = two_thirds(load(simd, &skin.pressure_mpa));
            let least = load(simd, &skin.least_gap_um);
            let mut largest = least;
            for grains in grains.iter() {
                largest = largest.max(load(simd, &grains.largest_um));
            }
            let (load, slope) = carried(grains, least);
            let (value, slope) = short_of(goal, scale, load, slope);
            let open = value.simd_lt(0.0);
            if !open.any_true() {
                return Self { skin, gap_um: least, load };
            }
            let guess = open.select((least - value / slope).min(largest), least);
            let gap_um = newton(
                #[inline(always)]
                |gap_um| {
                    let (load, slope) = carried(grains, gap_um);
                    short_of(goal, scale, load, slope)
                },
                [least, open.select(largest, least)],
                guess,
                GAP_STEP,
            );
            let (load, _) = carried(grains, gap_um);
            Self { skin, gap_um, load }
        })
    }

    /// Depth-weighted removal of all powders together, µm².
    #[inline(always)]
    pub fn severity(&self, grains: &[GrainBlock]) -> Lanes<S> {
        let mut sum = self.load.constant(0.0);
        for grains in grains {
            sum += grains.severity(self.gap_um, self.skin);
        }
        sum * load(sum.simd, &self.skin.dose_g_m2) * SPHERES as f32
    }
}

/// What a load, to the power 2/3, falls short of the pressure that is to be carried, and how that changes with the gap.
#[inline(always)]
fn short_of<S: Simd>(goal: Lanes<S>, scale: Lanes<S>, load: Lanes<S>, slope: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let power = two_thirds(scale * load);
    (goal - power, power * slope / load * (-2.0 / 3.0))
}

/// Positive numbers to the power 2/3.
#[inline(always)]
fn two_thirds<S: Simd>(x: Lanes<S>) -> Lanes<S> {
    exp(ln(x) * (2.0 / 3.0))
}

/// Σ volume · ∫ q/x dQ3 of every draw, and its slope by the gap.
#[inline(always)]
fn carried<S: Simd>(grains: &mut [GrainBlock], gap_um: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let gap = LogGap { um: gap_um, ln: ln(gap_um) };
    let (mut sum, mut slope) = (gap_um.constant(0.0), gap_um.constant(0.0));
    for powder in grains {
        let (own, by_gap) = powder.carry(gap);
        let volume = load(gap_um.simd, &powder.volume);
        sum += volume * own;
        slope += volume * by_gap;
    }
    (sum, slope)
}
