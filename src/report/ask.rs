//! The result of `gritwise ask`: the request sheet to a supplier, of what is missing for a powder.

use super::document::{Document, Grid, Section};
use super::layout::row;
use crate::numerics::written::{three, two};
use crate::powder::{Powder, ValueOrigin};
use crate::tables::{Flag, Material, MaterialOrigin, Origin, Property, Status, SupplierQuestion, Tables};
use serde::Serialize;

/// A request sheet. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AskReport {
    /// The powder.
    pub powder: String,
    /// Its material, where it is known.
    pub material: Option<String>,
    /// INCI name in hand.
    pub inci: Option<String>,
    /// Lot in hand.
    pub lot: Option<String>,
    /// The questions, in order.
    pub questions: Vec<Question>,
}

/// A question.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Question {
    /// Its name.
    pub key: String,
    /// It.
    pub ask: String,
    /// What for.
    pub why: String,
    /// What is in hand, and how well it is known; empty where nothing is.
    pub in_hand: String,
    /// Status and source of the question.
    #[serde(flatten)]
    pub origin: Origin,
}

/// What is known of a powder, as far as questions hang on it.
struct Hand<'a> {
    material: Option<&'a Material>,
    powder: Option<&'a Powder>,
}

impl AskReport {
    /// For a powder of a scrub: what it rests on no measurement for is asked.
    pub fn of_powder(powder: &Powder, tables: &Tables) -> Self {
        let hand = Hand { material: powder.material.as_ref(), powder: Some(powder) };
        Self {
            powder: powder.name.clone(),
            material: powder.material.as_ref().map(|m| m.name.clone()),
            inci: powder.inci().map(str::to_owned),
            lot: powder.stock.lot.clone(),
            questions: hand.questions(tables),
        }
    }

    /// For a material of which nothing is in hand.
    pub fn of_material(material: &Material, tables: &Tables) -> Self {
        Self {
            powder: material.name.clone(),
            material: Some(material.name.clone()),
            inci: Some(material.inci.clone()),
            lot: None,
            questions: Hand { material: Some(material), powder: None }.questions(tables),
        }
    }

    /// To send.
    pub fn to_document(&self) -> Document {
        let lead = format!(
            "Please answer for the very lot that would be delivered{}, and send the papers along. \"Not known\" is an answer; an empty line \
             is none.",
            self.lot.as_ref().map_or_else(String::new, |lot| format!(" (in hand: {lot})"))
        );
        let line = |(i, q): (usize, &Question)| {
            let in_hand = if q.in_hand.is_empty() { "nothing" } else { &q.in_hand };
            row((i + 1).to_string()).and(&q.ask).and(&q.why).and(in_hand).and("")
        };
        let heads = ["No.", "Please give", "What for", "In hand", "Answer"];
        let grid = Grid::new("rllll", &heads).rows(self.questions.iter().enumerate().map(line));
        let inci = format!("INCI name as we have it: {}", self.inci.as_deref().unwrap_or("none"));
        let blanks =
            ["Supplier", "Product and its code", "Lot", "Answered by, on"].map(|b| [b.to_owned(), String::new()]);
        let head = Section::new("powder", "The powder").text(inci).table(Grid::new("ll", &["", ""]).rows(blanks));
        let asked = Section::new("questions", "What we ask").table(grid);
        let told = |q: &Question| format!("{}: {} ({})", q.key, q.origin.source, q.origin.status.key());
        let sources = Section::new("sources", "Why we ask").list(self.questions.iter().map(told).collect());
        Document {
            title: format!("Request to the supplier: {}", self.powder),
            lead: vec![lead],
            sections: vec![head, asked, sources],
            numbered: false,
        }
    }
}

impl Hand<'_> {
    fn questions(&self, tables: &Tables) -> Vec<Question> {
        let asked = tables.papers.questions.iter().filter(|q| self.is_open(&q.trigger));
        let question = |q: &SupplierQuestion| Question {
            key: q.key.clone(),
            ask: q.ask.clone(),
            why: q.why.clone(),
            in_hand: self.in_hand(&q.key),
            origin: q.origin(),
        };
        asked.map(question).collect()
    }

    /// Whether a question stands; of an unknown material all do.
    fn is_open(&self, trigger: &str) -> bool {
        let of_origin = |origin| self.material.is_none_or(|m| m.origin == origin);
        let flags = [Flag::TreeNut, Flag::SeedProtein, Flag::Gluten];
        match trigger {
            "always" => true,
            "mineral" => of_origin(MaterialOrigin::Mineral),
            "plant" => of_origin(MaterialOrigin::Plant),
            "protein" => self.material.is_none_or(|m| flags.iter().any(|f| m.has_flag(*f))),
            "sizes" => self.powder.is_none_or(|p| p.size.classes.is_empty() || p.size.open_above > 0.0),
            word => Property::of(word).is_some_and(|p| self.is_unmeasured(p)),
        }
    }

    /// Whether a property rests on the table, or on a Mohs number.
    fn is_unmeasured(&self, property: Property) -> bool {
        self.powder.is_none_or(|p| match p.property(property).1 {
            ValueOrigin::Table(_) => true,
            ValueOrigin::Given => property == Property::Hardness && p.mohs.is_some(),
        })
    }

    /// What is in hand for a question.
    fn in_hand(&self, key: &str) -> String {
        if let Some(property) = Property::of(key) {
            return self.value(property);
        }
        let Some(powder) = self.powder else { return String::new() };
        match key {
            "identity" => powder.inci().unwrap_or_default().to_owned(),
            "lot" => powder.stock.lot.clone().unwrap_or_default(),
            "sizes" => {
                let um = |share| three(powder.size.distribution.quantile(share));
                let form =
                    if powder.size.classes.is_empty() { "stated, no table" } else { "a table whose top is open" };
                format!("D10 {}, D50 {}, D90 {} µm: {form}", um(0.1), um(0.5), um(0.9))
            }
            _ => String::new(),
        }
    }

    fn value(&self, property: Property) -> String {
        let unit = match property {
            Property::Density => " g/cm³",
            Property::Hardness => " GPa",
            Property::Roundness => "",
        };
        let known = |value: f64, status: Status, from: &str| format!("{}{unit}: {}, {from}", two(value), status.key());
        match (self.powder, self.material) {
            (Some(p), _) => match p.property(property) {
                (value, ValueOrigin::Table(origin), _) => known(value, origin.status, "materials table"),
                (value, ValueOrigin::Given, _) => format!("{}{unit}: from a Mohs number", two(value)),
            },
            (None, Some(m)) => {
                let k = m.known(property);
                known(k.value, k.origin.status, "materials table")
            }
            (None, None) => String::new(),
        }
    }
}
