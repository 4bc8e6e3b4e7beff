/// A range that the user gave for a value: 5 % is taken to lie below it and 5 % above (convention).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Low end, positive.
    pub low: f64,
    /// High end, not below the value.
    pub high: f64,
}

/// A number of a size with its range.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeRange {
    /// Key of the number, such as `d50_um` or `gsd`.
    pub key: String,
    /// The number.
    pub value: f64,
    /// Its range.
    pub range: Range,
}

/// The ranges that the user gave for what is known of a powder.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PropertyRanges {
    /// Envelope density, g/cm³.
    pub density: Option<Range>,
    /// Hardness, GPa.
    pub hardness: Option<Range>,
    /// Roundness, or the bounds of the class that was named.
    pub roundness: Option<Range>,
    /// Numbers of the size.
    pub sizes: Vec<SizeRange>,
}
