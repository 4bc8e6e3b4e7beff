//! What is not known exactly, and how it is drawn: the powders, which a maker can measure, and skin and model, which nobody knows.
//!
//! Conventions. Half of the draws lie on either side of the stated value. Positive quantities whose status is `published` or `from
//! memory`, and ranges that the user gave, are log-normal with 5 % below and 5 % above the range; an `estimate` or a `convention` is
//! log-uniform within it. Roundness, Poisson's ratio and shares stay within their range whatever the status. Different properties,
//! materials and sites are drawn independently; the percentiles of one powder together ([`super::sizes`]); what several powders have in
//! common, once for all of them ([`super::shared`]).

use super::shared::{UnknownOf, in_order_of_kind};
use super::sieving::cuts;
use super::sizes::SizeDraw;
use crate::blend::{Component, Scrub};
use crate::numerics::spread::Spread;
use crate::powder::{Powder, Range};
use crate::size::Warp;
use crate::tables::{DrawTolerances, Known, ModelConstants, MohsRow, Property, Site, Tables};
use gritwise_kernel::{LANES, lane_by_lane};
use serde::Serialize;

/// What a powder is like in one draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawnPowder {
    /// Envelope density, g/cm³.
    pub density_g_cm3: f64,
    /// Hardness, GPa.
    pub hardness_gpa: f64,
    /// Roundness.
    pub roundness: f64,
    /// What becomes of its sizes.
    pub warp: Warp,
    /// How far the maker's sieves cut from their openings, on the ln x axis: the one that it stays on, then the one that it goes through.
    pub cuts_off_ln: [f64; 2],
    /// Its mass in the scrub, relative to the stated one.
    pub amount: f64,
}

/// One draw of everything.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// The powders, in the blend's order.
    pub powders: Vec<DrawnPowder>,
    /// All powders together, mass fraction of the scrub.
    pub load: f64,
    /// The sites.
    pub sites: Vec<Site>,
    /// The constants of the model.
    pub constants: ModelConstants,
}

/// What a measurement would tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measures {
    /// A property of the powder at this place in the blend; where others share it (by material, or as one lot), of all of them.
    Powder(usize, Measurand),
    /// How much powder is in the scrub.
    Load,
}

/// A property of a powder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Measurand {
    /// Its sizes.
    Size,
    /// Indentation hardness.
    Hardness,
    /// Wadell roundness.
    Roundness,
    /// Envelope density.
    Density,
}

/// What an input turns: of every powder that shares it, by its place.
enum Knob {
    Powders(PowderField, Vec<(usize, Spread)>),
    Sieves(Vec<usize>, [Spread; 2]),
    Sizes(Vec<(usize, SizeDraw)>),
    Load(Spread),
    Site(usize, fn(&mut Site) -> &mut f64, Spread),
    Constant(fn(&mut ModelConstants) -> &mut f64, Spread),
}

impl Knob {
    fn powders(&self) -> Vec<usize> {
        match self {
            Self::Powders(_, each) => each.iter().map(|(place, _)| *place).collect(),
            Self::Sizes(each) => each.iter().map(|(place, _)| *place).collect(),
            Self::Sieves(places, _) => places.clone(),
            Self::Load(_) | Self::Site(..) | Self::Constant(..) => Vec::new(),
        }
    }
}

/// One thing that is drawn.
pub struct Input {
    /// What it is, for people.
    pub label: String,
    /// What a maker can measure of it; `None` for what nobody can.
    pub measures: Option<Measures>,
    /// Whether the index depends on it.
    pub moves_index: bool,
    /// Whether the band depends on it, its groove limits moving along with the reference scrub.
    pub moves_band: bool,
    /// What it is of, where it is of powders.
    pub(super) subject: Option<UnknownOf>,
    knob: Knob,
    /// First of its coordinates.
    first: usize,
}

impl Input {
    /// Whether a maker can measure it.
    pub fn is_measurable(&self) -> bool {
        self.measures.is_some()
    }

    /// Its coordinates in the unit cube.
    pub fn coordinates(&self) -> std::ops::Range<usize> {
        let count = match &self.knob {
            Knob::Sizes(_) => SizeDraw::COORDINATES,
            Knob::Sieves(_, cuts) => cuts.len(),
            _ => 1,
        };
        self.first..self.first + count
    }

    /// Places in the blend of the powders that share it; none of skin, model and load.
    pub fn powders(&self) -> Vec<usize> {
        self.knob.powders()
    }

    /// Whether this is what a measurement would tell of.
    pub(super) fn is_told_by(&self, measures: Measures) -> bool {
        match (self.measures, measures) {
            (Some(Measures::Powder(_, own)), Measures::Powder(place, asked)) => {
                own == asked && self.powders().contains(&place)
            }
            (own, asked) => own == Some(asked),
        }
    }
}

/// Which inputs are drawn; the others stay as stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Vary {
    /// All.
    All,
    /// What a maker can measure.
    Powders,
    /// What nobody knows.
    SkinAndModel,
    /// How people's skin differs, and how they rub.
    Skins,
}

impl Vary {
    fn takes(self, input: &Input) -> bool {
        match self {
            Self::All => true,
            Self::Powders => input.is_measurable(),
            Self::SkinAndModel => !input.is_measurable(),
            Self::Skins => matches!(input.knob, Knob::Site(..)),
        }
    }

    /// Whether groove limits move along with the reference scrub. They were set by what the trade sells, on the same skin and with the
    /// same model; only of one person's skin are they as stated.
    pub(super) fn moves_limits(self) -> bool {
        self != Self::Skins
    }
}

/// All that is drawn for a scrub.
pub struct Inputs {
    inputs: Vec<Input>,
    dimensions: usize,
    stated: Drawn,
    order: Vec<usize>,
}

type ConstantField = fn(&mut ModelConstants) -> &mut f64;

/// Constants that index or groove ratio depend on, and what they are called. The reference scrub is a definition and has no range.
const CONSTANTS: [(&str, &str, ConstantField); 4] = [
    ("finger_modulus_mpa", "finger pad: modulus", |c| &mut c.finger_modulus_mpa),
    ("poisson_ratio", "skin and finger pad: Poisson's ratio", |c| &mut c.poisson_ratio),
    ("horn_hardness_mpa", "skin: hardness of the wet horny layer", |c| &mut c.horn_hardness_mpa),
    ("edge_ratio", "model: how much harder than skin a grain keeps half its edge", |c| &mut c.edge_ratio),
];

type PowderField = fn(&mut DrawnPowder) -> &mut f64;

/// Properties of grains, what they are called, and what would measure them.
const GRAINS: [(Property, &str, Measurand, PowderField); 3] = [
    (Property::Hardness, "hardness", Measurand::Hardness, |p| &mut p.hardness_gpa),
    (Property::Roundness, "roundness", Measurand::Roundness, |p| &mut p.roundness),
    (Property::Density, "density", Measurand::Density, |p| &mut p.density_g_cm3),
];

const THICKNESS: &str = "thickness of the horny layer";

type SiteField = fn(&mut Site) -> &mut f64;

/// Parameters of a site, what they are called, and whether the index depends on them.
const SITE: [(&str, &str, bool, SiteField); 5] = [
    ("stratum_corneum_um", THICKNESS, false, |s| &mut s.stratum_corneum_um),
    ("skin_modulus_mpa", "skin modulus", true, |s| &mut s.skin_modulus_mpa),
    ("pressure_kpa", "rub pressure", true, |s| &mut s.pressure_kpa),
    ("dose_g_m2", "dose of scrub", true, |s| &mut s.dose_g_m2),
    ("gap_um", "least gap (film and skin relief)", true, |s| &mut s.gap_um),
];

impl Inputs {
    /// All that is not known exactly of a scrub, its skin and the model. `reference_site` is the position of the site of the index.
    pub fn new(scrub: &Scrub, tables: &Tables, reference_site: usize) -> Self {
        let components = scrub.blend.components();
        let powders = components.iter().map(|c| DrawnPowder {
            density_g_cm3: c.powder.density.get(),
            hardness_gpa: c.powder.hardness.get(),
            roundness: c.powder.roundness.get(),
            warp: Warp::NONE,
            cuts_off_ln: [0.0; 2],
            amount: 1.0,
        });
        let stated = Drawn {
            powders: powders.collect(),
            load: scrub.load.fraction(),
            sites: tables.site_values(),
            constants: tables.constants.values(),
        };
        let order = in_order_of_kind(components);
        let mut inputs = Self { inputs: Vec::new(), dimensions: 0, stated, order };
        inputs.add_powders(components, tables);
        if let Some(range) = scrub.load_range {
            let load = scrub.load.fraction();
            let spread = Spread::log_normal(load, range.low / 100.0, range.high / 100.0);
            inputs.add("powder load".into(), None, Some(Measures::Load), true, Knob::Load(spread));
        }
        inputs.add_model(tables, reference_site);
        inputs
    }

    /// The inputs, powders first.
    pub fn list(&self) -> &[Input] {
        &self.inputs
    }

    /// Coordinates of the unit cube that a draw takes.
    pub fn dimensions(&self) -> usize {
        self.dimensions
    }

    /// Places of the powders in the order that they are drawn and added up in: it does not hang on that of the file.
    pub(super) fn order(&self) -> &[usize] {
        &self.order
    }

    /// Places of the powders that share what a measurement would tell; its own alone where it is not drawn.
    pub(super) fn sharing(&self, place: usize, property: Measurand) -> Vec<usize> {
        let of = |i: &&Input| !matches!(i.knob, Knob::Sieves(..)) && i.is_told_by(Measures::Powder(place, property));
        self.inputs.iter().find(of).map_or_else(|| vec![place], Input::powders)
    }

    /// Everything as stated.
    pub fn stated(&self) -> &Drawn {
        &self.stated
    }

    /// Sets the inputs that vary to their values at up to [`LANES`] points of the unit cube, one after another in `points`; those left over
    /// go to the last point. How many points there are.
    pub fn draw(&self, points: &[f64], vary: Vary, drawn: &mut [Drawn; LANES]) -> usize {
        let count = (points.len() / self.dimensions).min(LANES);
        let point = |lane: usize| &points[lane.min(count - 1) * self.dimensions..];
        for input in self.inputs.iter().filter(|i| vary.takes(i)) {
            let shares = lane_by_lane(|lane| point(lane)[input.first]);
            let at = |spread: &Spread| spread.at_all(&shares);
            match &input.knob {
                Knob::Powders(field, each) => {
                    each.iter().for_each(|(i, spread)| set(drawn, &at(spread), |drawn| field(&mut drawn.powders[*i])));
                }
                Knob::Sieves(places, cuts) => {
                    for (lane, drawn) in drawn.iter_mut().enumerate() {
                        let u = &point(lane)[input.coordinates()];
                        let off = std::array::from_fn(|side| cuts[side].at(u[side]).ln());
                        places.iter().for_each(|i| drawn.powders[*i].cuts_off_ln = off);
                    }
                }
                Knob::Sizes(each) => {
                    for (lane, drawn) in drawn.iter_mut().enumerate() {
                        for (i, sizes) in each {
                            let powder = &mut drawn.powders[*i];
                            powder.warp = sizes.warp_cut(&point(lane)[input.coordinates()], powder.cuts_off_ln);
                        }
                    }
                }
                Knob::Load(spread) => {
                    let load = at(spread);
                    set(drawn, &lane_by_lane(|lane| load[lane].min(1.0)), |drawn| &mut drawn.load);
                }
                Knob::Site(i, field, spread) => set(drawn, &at(spread), |drawn| field(&mut drawn.sites[*i])),
                Knob::Constant(field, spread) => set(drawn, &at(spread), |drawn| field(&mut drawn.constants)),
            }
        }
        count
    }

    fn add(
        &mut self,
        label: String,
        subject: Option<UnknownOf>,
        measures: Option<Measures>,
        moves_index: bool,
        knob: Knob,
    ) {
        let fixed = match &knob {
            Knob::Powders(_, each) => each.iter().all(|(_, spread)| spread.is_fixed()),
            Knob::Load(s) | Knob::Site(_, _, s) | Knob::Constant(_, s) => s.is_fixed(),
            Knob::Sizes(_) | Knob::Sieves(..) => false,
        };
        if !fixed {
            // How thick the horny layer is cancels against the reference scrub's groove on the same skin.
            let moves_band = !label.ends_with(THICKNESS);
            let input = Input { label, measures, moves_index, moves_band, subject, knob, first: self.dimensions };
            self.dimensions += input.coordinates().len();
            self.inputs.push(input);
        }
    }

    fn add_powders(&mut self, components: &[Component], tables: &Tables) {
        let powder = |place: usize| &components[place].powder;
        // Before the sizes, which follow from them.
        for (subject, places) in self.shared(|place| UnknownOf::cuts(powder(place))) {
            let Some(sieved) = &powder(places[0]).size.sieved else { continue };
            let knob = Knob::Sieves(places, cuts(sieved, &tables.sieving));
            self.add_shared(components, subject, "how sharp the sieve cuts", Measurand::Size, knob);
        }
        for (subject, places) in self.shared(|place| Some(UnknownOf::sizes(powder(place)))) {
            let each = places.into_iter().map(|place| (place, SizeDraw::new(powder(place), tables)));
            self.add_shared(components, subject, "size", Measurand::Size, Knob::Sizes(each.collect()));
        }
        for (property, what, measurand, field) in GRAINS {
            for (subject, places) in self.shared(|place| Some(UnknownOf::grains(powder(place), property))) {
                let each = places.into_iter().map(|place| (place, spread_of(powder(place), property, tables)));
                self.add_shared(components, subject, what, measurand, Knob::Powders(field, each.collect()));
            }
        }
    }

    /// The powders' subjects, each with the places that share it, in the order that they are drawn in.
    fn shared(&self, of: impl Fn(usize) -> Option<UnknownOf>) -> Vec<(UnknownOf, Vec<usize>)> {
        let mut shared: Vec<(UnknownOf, Vec<usize>)> = Vec::new();
        for &place in &self.order {
            let Some(subject) = of(place) else { continue };
            match shared.iter_mut().find(|(known, _)| *known == subject) {
                Some((_, places)) => places.push(place),
                None => shared.push((subject, vec![place])),
            }
        }
        shared
    }

    fn add_shared(&mut self, all: &[Component], subject: UnknownOf, what: &str, measurand: Measurand, knob: Knob) {
        let places = knob.powders();
        let Some(first) = places.first() else { return };
        let measures = Some(Measures::Powder(*first, measurand));
        let label = format!("{}: {what}", names(all, &places));
        self.add(label, Some(subject), measures, true, knob);
    }

    fn add_model(&mut self, tables: &Tables, reference_site: usize) {
        for (name, label, field) in CONSTANTS {
            let Some(known) = tables.constants.get(name) else { continue };
            let spread = by_status(known, name == "poisson_ratio");
            self.add(label.into(), None, None, true, Knob::Constant(field, spread));
        }
        for (i, site) in tables.sites.iter().enumerate() {
            for (name, label, moves_index, field) in SITE {
                let Some(known) = site.get(name) else { continue };
                let moves_index = moves_index && i == reference_site;
                let knob = Knob::Site(i, field, by_status(known, false));
                self.add(format!("{}: {label}", site.name), None, None, moves_index, knob);
            }
        }
    }
}

/// Powders that share an input, as people would name them.
fn names(all: &[Component], places: &[usize]) -> String {
    let mut names: Vec<&str> = places.iter().map(|place| all[*place].powder.name.as_str()).collect();
    names.dedup();
    match names.as_slice() {
        [one] => (*one).to_owned(),
        [one, other] => format!("{one} and {other}"),
        [one, more @ ..] => format!("{one} and {} more", more.len()),
        [] => String::new(),
    }
}

/// How a property of a powder's grains is drawn.
fn spread_of(powder: &Powder, property: Property, tables: &Tables) -> Spread {
    let of_mohs = powder.mohs.filter(|_| property == Property::Hardness).map(|mohs| known_of_mohs(tables, mohs));
    let row = of_mohs.unwrap_or_else(|| powder.material.as_ref().map(|m| m.known(property).clone()));
    let (bound, tolerance_pct) = match property {
        Property::Density => (RangeEnd::None, tables.draws.density_pct),
        Property::Hardness => (RangeEnd::None, tables.draws.hardness_pct),
        Property::Roundness => (RangeEnd::Range, tables.draws.roundness_pct),
    };
    let (value, _, own) = powder.property(property);
    property_spread(bound, value, own, row.as_ref(), DrawTolerances::ln(tolerance_pct))
}

/// Sets a field of each draw.
fn set(drawn: &mut [Drawn; LANES], values: &[f64; LANES], field: impl Fn(&mut Drawn) -> &mut f64) {
    drawn.iter_mut().enumerate().for_each(|(lane, drawn)| *field(drawn) = values[lane]);
}

/// How a number of the tables is drawn, by its status; `bounded` keeps it within its range whatever that is.
pub(crate) fn by_status(known: &Known, bounded: bool) -> Spread {
    let spread = if known.origin.status.is_seen() && !bounded { Spread::log_normal } else { Spread::log_uniform };
    spread(known.value, known.low, known.high)
}

/// Value and range of a mineral of that Mohs number, with the relative width and the origin of the nearest row.
fn known_of_mohs(tables: &Tables, mohs: f64) -> Option<Known> {
    let nearest = tables.mohs.iter().min_by(|a, b| (a.mohs - mohs).abs().total_cmp(&(b.mohs - mohs).abs()));
    nearest.map(MohsRow::known)
}

/// Whether a property can lie beyond its range.
#[derive(Clone, Copy, PartialEq, Eq)]
enum RangeEnd {
    /// It can.
    None,
    /// It cannot, nor above 1.
    Range,
}

/// The user's range; or the table's where it holds the value, else that range moved along with the value, drawn by the status of that
/// very number; or, with neither, the tolerance, a standard deviation of ln.
fn property_spread(bound: RangeEnd, value: f64, own: Option<Range>, row: Option<&Known>, tolerance: f64) -> Spread {
    let cap = if bound == RangeEnd::Range { 1.0 } else { f64::INFINITY };
    let spread = |seen: bool, low: f64, high: f64| {
        if seen && bound == RangeEnd::None {
            Spread::log_normal(value, low, high)
        } else {
            Spread::log_uniform(value, low, high.min(cap).max(value))
        }
    };
    match (own, row) {
        (Some(range), _) => spread(true, range.low, range.high),
        (None, Some(Known { value: stated, low, high, origin })) => {
            let seen = origin.status.is_seen();
            let moved = value / stated;
            if *low < value && value < *high {
                spread(seen, *low, *high)
            } else {
                spread(seen, low * moved, high * moved)
            }
        }
        (None, None) => spread(true, value * (-1.645 * tolerance).exp(), value * (1.645 * tolerance).exp()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::powder::Hardness;
    use crate::powder::invented::{grains, log_normal};
    use crate::units::Mohs;

    #[test]
    fn a_hardness_by_mohs_strays_as_its_row_and_no_other_property_does() {
        let tables = Tables::built_in().unwrap();
        let hardness = Hardness::Mohs(Mohs::new(6.0).unwrap());
        let powder = grains("grains", 2.6, hardness, 0.35, log_normal(165.0, 1.3), &tables);
        let draw = |property| spread_of(&powder, property, &tables);
        // hardness.csv: Mohs 6 is 6.87 GPa, 5.84 to 7.9, from memory; draws.csv for what no row tells.
        assert_eq!(draw(Property::Hardness), Spread::log_normal(6.87, 5.84, 7.9));
        let Spread::LogNormal { below, above, .. } = draw(Property::Density) else { panic!() };
        let tolerance = DrawTolerances::ln(tables.draws.density_pct);
        assert!((below - tolerance).abs() < 1e-3 && (above - tolerance).abs() < 1e-3, "{below} {above} {tolerance}");
    }
}
