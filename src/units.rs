//! Quantities that carry their unit in the type. A value outside its range cannot be built.

use serde::Serialize;

/// A number that cannot be the quantity it was given for.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{quantity} must be {allowed}, not {}", plain(*.given))]
pub struct UnitError {
    /// What the number was to be.
    pub quantity: &'static str,
    /// What would be right.
    pub allowed: &'static str,
    /// The number.
    pub given: f64,
}

/// A number as people read it: neither hundreds of digits nor hundreds of noughts.
pub fn plain(number: f64) -> String {
    let is_plain = number == 0.0 || !number.is_finite() || (1e-6..1e15).contains(&number.abs());
    if is_plain { number.to_string() } else { format!("{number:e}") }
}

/// The nearest number of three digits.
pub fn three_digits(number: f64) -> f64 {
    format!("{number:.2e}").parse().unwrap_or(number)
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $quantity:literal, $allowed:literal, $test:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            /// Takes the number if it can be this quantity.
            ///
            /// # Errors
            /// [`UnitError`] when it is out of range or not finite.
            pub fn new(value: f64) -> Result<Self, UnitError> {
                let fits: fn(f64) -> bool = $test;
                if value.is_finite() && fits(value) {
                    Ok(Self(value))
                } else {
                    Err(UnitError { quantity: $quantity, allowed: $allowed, given: value })
                }
            }

            /// The number, in the unit of the type.
            #[inline]
            pub fn get(self) -> f64 {
                self.0
            }
        }

        impl From<$name> for f64 {
            fn from(quantity: $name) -> Self {
                quantity.0
            }
        }
    };
}

/// The largest size, µm: a metre.
pub const LARGEST_UM: f64 = 1e6;

quantity!(
    /// A grain diameter or an opening, micrometres. The range spans colloids to gravel.
    Micrometres, "a size", "between 0.001 and 1 000 000 µm", |v| (1e-3..=LARGEST_UM).contains(&v)
);
quantity!(
    /// Indentation (Vickers) hardness, gigapascals.
    Gigapascals, "a hardness", "between 0.0001 and 200 GPa", |v| (1e-4..=200.0).contains(&v)
);
quantity!(
    /// Envelope density of one grain, its closed pores included, g/cm³.
    GramsPerCm3, "a density", "between 0.05 and 25 g/cm³", |v| (0.05..=25.0).contains(&v)
);
quantity!(
    /// Wadell roundness: mean corner radius over the radius of the largest inscribed circle.
    Roundness, "a roundness", "between 0.01 and 1", |v| (0.01..=1.0).contains(&v)
);
quantity!(
    /// All powders together, % w/w of the scrub.
    LoadPercent, "the powder load", "at least 0.000001 and at most 100 % of the scrub", |v| (1e-6..=100.0).contains(&v)
);
quantity!(
    /// Parts by mass of the powder blend.
    Parts, "parts", "above 0 and at most 100 (150 and 50 is the same blend as 3 and 1)", |v| v > 0.0 && v <= 100.0
);
quantity!(
    /// What a kilogram costs, in whatever currency the user keeps to.
    Price, "a price per kilogram", "0 or more, at most 1 000 000", |v| (0.0..=1e6).contains(&v)
);
quantity!(
    /// A share of the scrub, % w/w.
    PercentOfScrub, "a share of the scrub", "between 0 and 100 %", |v| (0.0..=100.0).contains(&v)
);
quantity!(
    /// A mass, grams.
    Grams, "a mass", "0 or more, at most 1 000 000 000 g", |v| (0.0..=1e9).contains(&v)
);
quantity!(
    /// A Mohs number.
    Mohs, "a Mohs number", "between 1 and 10 (for softer grains give hardness_gpa)", |v| (1.0..=10.0).contains(&v)
);

quantity!(
    /// A pH.
    Ph, "a pH", "between 0 and 14", |v| (0.0..=14.0).contains(&v)
);
quantity!(
    /// A temperature, °C.
    Celsius, "a temperature", "between -20 and 150 °C", |v| (-20.0..=150.0).contains(&v)
);
quantity!(
    /// Strength of a solution, % w/w.
    Strength, "a strength", "above 0 and at most 100 %", |v| v > 0.0 && v <= 100.0
);
quantity!(
    /// A yield stress, Pa.
    Pascals, "a yield stress", "between 0 and 10 000 Pa", |v| (0.0..=1e4).contains(&v)
);
quantity!(
    /// A viscosity at rest, Pa·s.
    PascalSeconds, "a viscosity", "between 0.0005 and 1 000 000 Pa·s (water has 0.001)", |v| (5e-4..=1e6).contains(&v)
);
quantity!(
    /// A volume, mL.
    Millilitres, "a volume", "above 0 and at most 1 000 000 mL", |v| v > 0.0 && v <= 1e6
);
quantity!(
    /// A width, mm.
    Millimetres, "a width", "above 0 and at most 1000 mm", |v| v > 0.0 && v <= 1e3
);

impl LoadPercent {
    /// As a fraction of the scrub's mass.
    #[inline]
    pub fn fraction(self) -> f64 {
        self.0 / 100.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn constructors_refuse_and_say_why() {
        assert!(Roundness::new(0.3).is_ok());
        for bad in [f64::NAN, f64::INFINITY, 0.0, 0.009, -1.0, 1.01] {
            assert!(Roundness::new(bad).is_err());
        }
        let text = LoadPercent::new(120.0).unwrap_err().to_string();
        assert_eq!(text, "the powder load must be at least 0.000001 and at most 100 % of the scrub, not 120");
        let text = LoadPercent::new(1e300).unwrap_err().to_string();
        assert!(text.ends_with("not 1e300"), "{text}");
    }
}
