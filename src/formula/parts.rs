//! What a formula is made of: phases and their ingredients, and what is known of base, acid, container and use.

use crate::source::{CalendarDate, Spelled, same_word, substances_of, words};
use crate::tables::Acid;
use crate::units::{
    Celsius, Grams, GramsPerCm3, Millilitres, Millimetres, PascalSeconds, Pascals, PercentOfScrub, Ph, Strength,
};

words! {
    /// What an ingredient is for.
    pub enum Function {
        /// Water, or a watery extract.
        Water = "water",
        /// The acid exfoliant or its salt.
        Acid = "acid",
        /// What brings the acid to its pH.
        Neutraliser = "neutraliser",
        /// Preservative.
        Preservative = "preservative",
        /// Thickener.
        Thickener = "thickener",
        /// Emulsifier.
        Emulsifier = "emulsifier",
        /// Surfactant.
        Surfactant = "surfactant",
        /// Humectant.
        Humectant = "humectant",
        /// Oil, butter or wax.
        Oil = "oil",
        /// Fragrance or essential oil.
        Fragrance = "fragrance",
        /// Colour.
        Colour = "colour",
        /// Chelator.
        Chelator = "chelator",
        /// Grains that are no powder of the blend.
        Abrasive = "abrasive",
        /// Spoils in the heat.
        HeatSensitive = "heat-sensitive",
        /// Anything else that acts.
        Active = "active",
    }
}

/// A fragrance allergen within an ingredient.
#[derive(Debug, Clone, PartialEq)]
pub struct DeclaredAllergen {
    /// INCI name.
    pub inci: String,
    /// How much of the ingredient it is, %.
    pub pct: PercentOfScrub,
}

/// A substance of an ingredient that is a blend.
#[derive(Debug, Clone, PartialEq)]
pub struct PartOfBlend {
    /// INCI name.
    pub inci: String,
    /// How much of the ingredient it is, %.
    pub pct: PercentOfScrub,
}

/// Whether an INCI name is that of water.
pub(crate) fn is_water_name(inci: &str) -> bool {
    let names = [
        "Aqua",
        "Water",
        "Aqua (Water)",
        "Water (Aqua)",
        "Aqua/Water",
        "Aqua/Water/Eau",
        "Eau",
        "Wasser",
        "Acqua",
        "Agua",
    ];
    names.iter().any(|name| same_word(inci, name))
}

/// Whether an INCI name is that of water or of what is all but water: waters of plants, their distillates, juices.
fn is_watery(inci: &str) -> bool {
    let last = inci.rsplit([' ', '/']).next().unwrap_or_default();
    let watery = ["water", "juice", "hydrosol", "hydrolate", "hydrolat", "distillate"];
    is_water_name(inci) || watery.iter().any(|word| last.eq_ignore_ascii_case(word))
}

/// Words of what is sold in water, or grows in it: common practice, no source.
const IN_WATER: [&str; 36] = [
    "buttermilk",
    "puree",
    "purée",
    "fresh",
    "decoction",
    "cocamidopropyl betaine",
    "coco betaine",
    "aqua",
    "sea water",
    "h2o",
    "eau",
    "wasser",
    "lac",
    "milk",
    "yogurt",
    "yoghurt",
    "whey",
    "beer",
    "vinegar",
    "wine",
    "gel",
    "infusion",
    "laureth sulfate",
    "decyl glucoside",
    "coco glucoside",
    "lauryl glucoside",
    "caprylyl glucoside",
    "sarcosinate",
    "sulfosuccinate",
    "cocoate",
    "extract",
    "honey",
    "mel",
    "banana",
    "cucumber",
    "aloe",
];

/// An ingredient of a phase.
#[derive(Debug, Clone, PartialEq)]
pub struct Ingredient {
    /// Name.
    pub name: String,
    /// INCI name.
    pub inci: Option<String>,
    /// % w/w of the scrub. Of the ingredient that takes what is left, what it gets.
    pub pct: PercentOfScrub,
    /// Whether it takes what is left to 100 %.
    pub fill: bool,
    /// Strength, when it is a solution.
    pub strength: Option<Strength>,
    /// Density.
    pub density: Option<GramsPerCm3>,
    /// What a kilogram costs, in the user's currency.
    pub price_per_kg: Option<f64>,
    /// Lot at hand.
    pub lot: Option<String>,
    /// What it is for.
    pub functions: Vec<Function>,
    /// Key of the preservatives table, when the INCI name does not tell.
    pub preservative: Option<String>,
    /// What it is made of, when it is a blend and its supplier says so; they sum to 100 %.
    pub parts: Vec<PartOfBlend>,
    /// Allergens in it; `None` when nothing is declared.
    pub allergens: Option<Vec<DeclaredAllergen>>,
    /// Microbes counted in the lot, CFU/g.
    pub cfu_per_g: Option<f64>,
    /// What its maker states.
    pub stated: Stated,
}

/// What a maker states of an ingredient or powder that this program cannot know.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Stated {
    /// Whether metals and crystalline silica of the lot were measured.
    pub traces_tested: bool,
    /// When it was held against lists of prohibited and restricted substances.
    pub lists_checked: Option<CalendarDate>,
}

impl Ingredient {
    /// Whether it has a function.
    pub fn is(&self, function: Function) -> bool {
        self.functions.contains(&function)
    }

    /// Whether it is there to preserve, by function or key.
    pub(crate) fn is_to_preserve(&self) -> bool {
        self.is(Function::Preservative) || self.preservative.is_some()
    }

    /// The part of it that is not the solvent, 0..1.
    pub fn strength_share(&self) -> f64 {
        self.strength.map_or(1.0, |s| s.get() / 100.0)
    }

    /// What of it is not solvent, % w/w of the scrub.
    pub fn active_pct(&self) -> f64 {
        self.pct.get() * self.strength_share()
    }

    /// Water in it, % w/w of the scrub.
    pub fn water_pct(&self) -> f64 {
        let water = self.parts.iter().filter(|part| is_watery(&part.inci)).map(|part| part.pct.get() / 100.0);
        // The powder of a juice is dry.
        let by_inci = |inci: &str| is_watery(inci) && (is_water_name(inci) || !self.is_dried());
        let watery = self.is(Function::Water) || self.inci.as_deref().is_some_and(by_inci);
        let share = match (watery, self.parts.is_empty()) {
            (true, _) => 1.0,
            (false, true) => 1.0 - self.strength_share(),
            (false, false) => water.sum(),
        };
        self.pct.get() * share
    }

    /// Whether its INCI name is this one, in any case.
    pub fn is_inci(&self, name: &str) -> bool {
        self.inci.as_ref().is_some_and(|i| i.trim().eq_ignore_ascii_case(name))
    }

    /// Whether it is water.
    pub fn is_water(&self) -> bool {
        self.is(Function::Water) || self.inci.as_deref().is_some_and(is_water_name)
    }

    /// Whether its name or INCI name says that it is dry.
    fn is_dried(&self) -> bool {
        let words = Spelled::new(&format!("{}. {}", self.name, self.inci.as_deref().unwrap_or_default()));
        ["powder", "dry", "dried"].iter().any(|word| words.holds(word))
    }

    /// Whether it may bring water of which nothing is said: by its names, or as a washing substance without a strength, unless all is said to be
    /// free of water.
    pub(super) fn may_be_watery(&self, is_free: bool) -> bool {
        let is_said = self.is_water() || self.strength.is_some() || !self.parts.is_empty();
        let words = Spelled::new(self.inci.as_deref().unwrap_or(&self.name));
        let ends_in = |all: &[&str]| words.words().last().is_some_and(|last| all.contains(&last.as_str()));
        !is_said
            && !self.is_dried()
            && ((!is_free && self.is(Function::Surfactant))
                || IN_WATER.iter().any(|word| words.holds(word))
                || ends_in(&["fruit"]))
            && !ends_in(&["oil", "butter", "wax"])
    }

    /// The INCI names of its parts, else those that its own lists, in lower case; without any, its name.
    pub(super) fn inci_names(&self) -> Vec<String> {
        match self.parts.as_slice() {
            [] => substances_of(self.inci.as_deref().unwrap_or(&self.name)),
            parts => parts.iter().flat_map(|part| substances_of(&part.inci)).collect(),
        }
    }
}

/// A phase: what is mixed at one temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Phase {
    /// Name.
    pub name: String,
    /// Temperature.
    pub temperature: Option<Celsius>,
    /// What to do.
    pub note: Option<String>,
    /// Ingredients, in order.
    pub ingredients: Vec<Ingredient>,
}

/// A bead that just does not sink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeadTest {
    /// Its diameter.
    pub diameter: Millimetres,
    /// Its density.
    pub density: GramsPerCm3,
}

/// A cylinder, as high as wide or thereabouts, lifted off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlumpTest {
    /// Height of the cylinder.
    pub height: Millimetres,
    /// How much lower it is afterwards.
    pub slump: Millimetres,
}

words! {
    /// What a scrub is but for its grains.
    pub enum Kind {
        /// An emulsion.
        Cream = "cream",
        /// Water held by a thickener.
        Gel = "gel",
        /// Oil, without water.
        Oil = "oil",
        /// Fat or wax, solid at rest, without water.
        Balm = "balm",
        /// Powder.
        Dry = "dry",
    }
}

impl Kind {
    /// Whether it is made without water.
    pub fn is_free_of_water(self) -> bool {
        matches!(self, Self::Oil | Self::Balm | Self::Dry)
    }
}

/// The scrub without its powders.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Base {
    /// Density.
    pub density: Option<GramsPerCm3>,
    /// Yield stress.
    pub yield_stress: Option<Pascals>,
    /// The largest bead that just does not sink: a home test of the yield stress.
    pub bead: Option<BeadTest>,
    /// How far a cylinder of it slumps: another.
    pub slump: Option<SlumpTest>,
    /// Viscosity at rest.
    pub viscosity: Option<PascalSeconds>,
    /// pH, of a scrub without an acid.
    pub ph: Option<Ph>,
    /// Water activity.
    pub water_activity: Option<f64>,
}

/// What is intended with the acid.
#[derive(Debug, Clone, PartialEq)]
pub struct AcidPlan {
    /// The acid.
    pub acid: Acid,
    /// pH of the finished scrub.
    pub final_ph: Option<Ph>,
    /// The pH that the maker allows.
    pub window: Option<[f64; 2]>,
}

/// What the scrub is filled into.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Fill {
    /// Volume of the container up to the brim.
    pub container: Option<Millilitres>,
    /// Narrowest opening that the scrub passes.
    pub orifice: Option<Millimetres>,
    /// Whether it is a jar, without an opening that grains could clog.
    pub jar: bool,
    /// Net content by mass.
    pub net_mass: Option<Grams>,
    /// Net content by volume.
    pub net_volume: Option<Millilitres>,
    /// Days on the shelf.
    pub shelf_days: Option<f64>,
}

/// How the scrub is used.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Use {
    /// What it is but for its grains.
    pub kind: Option<Kind>,
    /// Whether it is rinsed off.
    pub rinse_off: Option<bool>,
    /// Uses a week.
    pub per_week: Option<f64>,
    /// Whether trained people use it, and not the consumer.
    pub salon: bool,
    /// Regions where it is sold, by the words of the tables where these know them; all regions of the tables when empty.
    pub regions: Vec<String>,
    /// When it is placed on the market; rules of the tables go by it.
    pub on_market: Option<CalendarDate>,
}

/// What the label says beside what is in the scrub.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LabelFacts {
    /// Name and address of whoever answers for the product.
    pub responsible: Option<String>,
    /// Country of origin, of what is brought in from outside.
    pub made_in: Option<String>,
    /// What the product is for.
    pub function: Option<String>,
    /// How long it keeps unopened, months.
    pub durability_months: Option<f64>,
    /// How long it keeps once opened, months.
    pub pao_months: Option<f64>,
}

/// How a powder of the blend stands in the formula.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PowderPlace {
    /// Place of its phase.
    pub phase: Option<usize>,
    /// Microbes counted in the lot, CFU/g.
    pub cfu_per_g: Option<f64>,
    /// What its maker states.
    pub stated: Stated,
}
