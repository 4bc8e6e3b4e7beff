//! What makes one scrub harsher than another: every difference between them, with what it does to the index.
//!
//! Effects do not simply add up: a coarser grade does more where there is more of it. So each difference is taken twice, put
//! into the first scrub alone and taken out of the second alone, and the mean of both is its effect. How well a number is known moves
//! no index, but draws: it is told too.

use crate::band::Judge;
use crate::blend::{Blend, Component, Scrub};
use crate::powder::{Powder, Range, SizeRange};
use crate::size::{OneFigure, SizeForm};
use crate::tables::Property;
use crate::units::{LoadPercent, Parts};

/// A quality in which two scrubs differ.
#[derive(Debug, Clone, PartialEq)]
pub enum Quality {
    /// Powders, % w/w of the scrub.
    Load {
        /// In the first scrub.
        from_pct: f64,
        /// In the second.
        to_pct: f64,
    },
    /// A powder's share of the blend, % by mass; 0 where the scrub has none of it.
    Share {
        /// The powder.
        powder: String,
        /// In the first scrub.
        from_pct: f64,
        /// In the second.
        to_pct: f64,
    },
    /// A powder's sizes.
    Size {
        /// The powder.
        powder: String,
        /// Median in the first scrub, µm.
        from_d50_um: f64,
        /// Median in the second, µm.
        to_d50_um: f64,
    },
    /// A powder's density, hardness or roundness.
    Grains {
        /// The powder.
        powder: String,
    },
    /// How well a number is known that both state alike, or what it rests on: it moves no index, but draws.
    Known {
        /// The powder, if it is about one.
        powder: Option<String>,
        /// The number, as people call it.
        what: String,
        /// In the first scrub, in words.
        from: String,
        /// In the second.
        to: String,
    },
}

/// A difference and what it does.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// What differs.
    pub quality: Quality,
    /// Change of the index from the first scrub to the second that is due to it.
    pub effect_on_index: f64,
}

/// The powders of a scrub, held against the other: what is alike in all but name and parts is one line where the other does not name
/// each. The same grains in one line or in four are the same scrub.
fn lines(scrub: &Scrub, other: &Scrub) -> Vec<Component> {
    let of_name = |scrub: &Scrub, name: &str| {
        scrub.blend.components().iter().filter(|c| c.powder.name.eq_ignore_ascii_case(name)).count()
    };
    let pairs = |c: &&Component| [scrub, other].iter().all(|s| of_name(s, &c.powder.name) == 1);
    let (mut lines, rest): (Vec<Component>, Vec<Component>) =
        scrub.blend.components().iter().cloned().partition(|c| pairs(&c));
    for line in rest {
        match lines.iter_mut().find(|known| is_alike(&known.powder, &line.powder)) {
            Some(known) => (known.mass, known.volume) = (known.mass + line.mass, known.volume + line.volume),
            None => lines.push(line),
        }
    }
    lines
}

/// Whether two powders are the same but for what they are called.
fn is_alike(a: &Powder, b: &Powder) -> bool {
    let kind = |p: &Powder| (p.material_key().map(str::to_owned), p.inci().map(str::to_lowercase), p.mohs);
    let grains = |p: &Powder| Property::ALL.map(|property| (p.property(property).0, p.property(property).2));
    let sizes = |p: &Powder| (p.size.form, p.size.sieved.as_ref().map(|s| s.by), p.size_ranges.clone());
    kind(a) == kind(b) && grains(a) == grains(b) && sizes(a) == sizes(b) && a.size.distribution == b.size.distribution
}

/// A powder that either scrub holds, or both.
struct Slot<'a> {
    first: Option<&'a Component>,
    second: Option<&'a Component>,
}

/// Which of a slot's qualities are taken from the second scrub.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Switch {
    share: bool,
    size: bool,
    grains: bool,
}

/// Everything that can be switched from the first scrub to the second.
#[derive(Debug, Clone, PartialEq)]
struct Switches {
    load: bool,
    slots: Vec<Switch>,
}

/// All differences between two scrubs, those that move the index most first.
pub fn differences(judge: &Judge, first: &Scrub, second: &Scrub) -> Vec<Difference> {
    let (of_first, of_second) = (lines(first, second), lines(second, first));
    let slots = matched(&of_first, &of_second);
    let none = Switches { load: false, slots: vec![Switch::default(); slots.len()] };
    let all = Switches { load: true, slots: vec![Switch { share: true, size: true, grains: true }; slots.len()] };
    let index = |switches: &Switches| index_of(judge, first, second, &slots, switches);
    let (at_first, at_second) = (index(&none), index(&all));
    let mut found: Vec<Difference> = qualities(first, second, &slots)
        .into_iter()
        .map(|(quality, place)| {
            let (mut put_in, mut taken_out) = (none.clone(), all.clone());
            place(&mut put_in, true);
            place(&mut taken_out, false);
            let effect = 0.5 * ((index(&put_in) - at_first) + (at_second - index(&taken_out)));
            Difference { quality, effect_on_index: effect }
        })
        .collect();
    found.sort_by(|a, b| b.effect_on_index.abs().total_cmp(&a.effect_on_index.abs()));
    found
}

type SwitchPlace = Box<dyn Fn(&mut Switches, bool)>;

/// Everything in which the scrubs differ, each with what switches it.
fn qualities(first: &Scrub, second: &Scrub, slots: &[Slot]) -> Vec<(Quality, SwitchPlace)> {
    let mut found: Vec<(Quality, SwitchPlace)> = Vec::new();
    if first.load != second.load {
        let quality = Quality::Load { from_pct: first.load.get(), to_pct: second.load.get() };
        found.push((quality, Box::new(|s, on| s.load = on)));
    } else if first.load_range != second.load_range {
        let [from, to] = [first, second].map(|s| said_range(s.load_range));
        found.push((Quality::Known { powder: None, what: "powder load".to_owned(), from, to }, Box::new(|_, _| {})));
    }
    for (i, slot) in slots.iter().enumerate() {
        let Some(shown) = slot.first.or(slot.second) else { continue };
        let powder = shown.powder.name.clone();
        let (from, to) = (share(slot.first), share(slot.second));
        if (from - to).abs() > 1e-12 {
            let quality = Quality::Share { powder: powder.clone(), from_pct: 100.0 * from, to_pct: 100.0 * to };
            found.push((quality, Box::new(move |s, on| s.slots[i].share = on)));
        }
        let (Some(a), Some(b)) = (slot.first, slot.second) else { continue };
        if a.powder.size.distribution != b.powder.size.distribution {
            let median = |c: &Component| c.powder.size.distribution.quantile(0.5);
            let quality = Quality::Size { powder: powder.clone(), from_d50_um: median(a), to_d50_um: median(b) };
            found.push((quality, Box::new(move |s, on| s.slots[i].size = on)));
        }
        if grains(&a.powder) != grains(&b.powder) {
            let powder = powder.clone();
            found.push((Quality::Grains { powder }, Box::new(move |s, on| s.slots[i].grains = on)));
        }
        for [what, from, to] in known(&a.powder, &b.powder) {
            let quality = Quality::Known { powder: Some(powder.clone()), what, from, to };
            found.push((quality, Box::new(|_, _| {})));
        }
    }
    found
}

/// What is known otherwise of two powders where their numbers are the same: what it is about, before and after.
fn known(a: &Powder, b: &Powder) -> Vec<[String; 3]> {
    let mut told = Vec::new();
    let mut tell = |what: &str, [from, to]: [String; 2]| {
        if from != to {
            told.push([what.to_owned(), from, to]);
        }
    };
    let material = |p: &Powder| p.material_key().unwrap_or("no material").to_owned();
    tell("material", [a, b].map(material));
    for property in Property::ALL {
        let [(before, _, own), (after, _, others)] = [a, b].map(|p| p.property(property));
        if before == after {
            tell(property.key(), [own, others].map(said_range));
        }
    }
    let mohs = |p: &Powder| if p.mohs.is_some() { "by Mohs" } else { "not by Mohs" }.to_owned();
    tell("hardness", [a, b].map(mohs));
    if a.size.distribution == b.size.distribution {
        tell("sizes", [a, b].map(|p| said_form(p.size.form)));
        let keys = a.size_ranges.iter().chain(&b.size_ranges).map(|r| r.key.as_str());
        let mut keys: Vec<&str> = keys.collect();
        keys.sort_unstable();
        keys.dedup();
        let of = |ranges: &[SizeRange], key: &str| ranges.iter().find(|r| r.key == key).map(|r| r.range);
        keys.into_iter().for_each(|key| tell(key, [a, b].map(|p| said_range(of(&p.size_ranges, key)))));
    }
    told
}

fn said_form(form: SizeForm) -> String {
    match form {
        SizeForm::Stated => "as a sheet states them".to_owned(),
        SizeForm::Range { stated: [false, false], .. } => "two bounds".to_owned(),
        SizeForm::Range { .. } => "two bounds, with what lies outside".to_owned(),
        SizeForm::Grit => "a grit".to_owned(),
        SizeForm::OneFigure(OneFigure { give_um: 0.0, .. }) => "one figure".to_owned(),
        SizeForm::OneFigure(OneFigure { give_um, .. }) => format!("one figure ± {give_um} µm"),
        SizeForm::Measured(kind) => format!("a table ({})", kind.label()),
    }
}

fn said_range(range: Option<Range>) -> String {
    range.map_or("no range of its own".to_owned(), |Range { low, high }| format!("{low} to {high}"))
}

fn grains(p: &Powder) -> [f64; 3] {
    [p.density.get(), p.hardness.get(), p.roundness.get()]
}

fn share(component: Option<&Component>) -> f64 {
    component.map_or(0.0, |c| c.mass)
}

/// Pairs the powders of two scrubs: by name, then by material where that leaves no doubt.
fn matched<'a>(first: &'a [Component], second: &'a [Component]) -> Vec<Slot<'a>> {
    let mut left: Vec<&Component> = second.iter().collect();
    let mut slots: Vec<Slot> = first.iter().map(|c| Slot { first: Some(c), second: None }).collect();
    let key = |c: &Component| c.powder.material_key().map(str::to_owned);
    let same_name = |a: &Component, b: &Component| a.powder.name.eq_ignore_ascii_case(&b.powder.name);
    let same_material = |a: &Component, b: &Component| key(a).is_some() && key(a) == key(b);
    for same in [&same_name as &dyn Fn(&Component, &Component) -> bool, &same_material] {
        for slot in slots.iter_mut().filter(|s| s.second.is_none()) {
            let Some(own) = slot.first else { continue };
            let mut fitting = left.iter().enumerate().filter(|(_, c)| same(own, c)).map(|(i, _)| i);
            if let (Some(i), None) = (fitting.next(), fitting.next()) {
                slot.second = Some(left.remove(i));
            }
        }
    }
    slots.extend(left.into_iter().map(|c| Slot { first: None, second: Some(c) }));
    slots
}

fn index_of(judge: &Judge, first: &Scrub, second: &Scrub, slots: &[Slot], switches: &Switches) -> f64 {
    let load = if switches.load { second.load } else { first.load };
    mixed(slots, &switches.slots, load).map_or(0.0, |scrub| judge.assess(&scrub).rubbed.index)
}

/// The scrub with some qualities of the second. Shares that are switched are taken as they are; the others are scaled to
/// fill what is left.
fn mixed(slots: &[Slot], switches: &[Switch], load: LoadPercent) -> Option<Scrub> {
    let sum = |switched: bool| -> f64 {
        let of = slots.iter().zip(switches).filter(|(_, s)| s.share == switched);
        of.map(|(slot, _)| if switched { share(slot.second) } else { share(slot.first) }).sum()
    };
    let (taken, kept) = (sum(true), sum(false));
    let scale = if kept > 0.0 { (1.0 - taken).max(0.0) / kept } else { 0.0 };
    let mut powders = Vec::new();
    for (slot, switch) in slots.iter().zip(switches) {
        let part = if switch.share { share(slot.second) } else { scale * share(slot.first) };
        // Hardly any is none: parts must be above 0.
        if let (Ok(parts), true) = (Parts::new(100.0 * part.min(1.0)), part > 1e-12) {
            powders.push((chosen(slot, *switch)?, parts));
        }
    }
    Some(Scrub { name: String::new(), load, load_range: None, blend: Blend::new(powders).ok()? })
}

fn chosen(slot: &Slot, switch: Switch) -> Option<Powder> {
    let (first, second) = (slot.first.or(slot.second)?, slot.second.or(slot.first)?);
    let mut powder = if switch.grains { second.powder.clone() } else { first.powder.clone() };
    powder.size = if switch.size { second.powder.size.clone() } else { first.powder.size.clone() };
    Some(powder)
}
