//! What `gritwise start` writes: a commented scrub file and a sieve table to fill in. Both are valid as they stand.

/// The name by which the starter scrub file knows its sieve table.
pub const STARTER_SIEVE_NAME: &str = "sieve.csv";

/// The starter scrub file.
pub const STARTER_SCRUB: &str = r#"# A scrub, as far as its powders go. Change the numbers, then run:
#
#     gritwise blend scrub.toml --plot pictures
#
# Lines that start with # are notes. All numbers here are invented examples.

[scrub]
name = "My first scrub"
powder_load_pct = 5.0          # all powders together, % w/w of the finished scrub

[[powder]]
name = "Rice powder"
material = "rice-grain"        # `gritwise tables materials` lists the names; it gives density, hardness, roundness
parts = 3                      # parts by mass of the powder blend
size = { d50_um = 70, gsd = 1.6 }   # median and geometric standard deviation, from the supplier's sheet

[[powder]]
name = "Olive stone, sieved here"
material = "olive-stone"
parts = 1
size = { sieve = "sieve.csv" } # your own sieve test, in the file beside this one

# What you measured yourself goes before the table's value:
#   density_g_cm3 = 1.35         envelope density of a grain, its closed pores included
#   hardness_gpa = 0.25          indentation hardness; or mohs = 3, for minerals only
#   roundness = 0.3              Wadell roundness; or roundness_class = "subangular"
#
# Other ways to give a size (exactly one):
#   { d10_um = 20, d50_um = 45, d90_um = 90 }      two or more of d5_um to d95_um
#   { mesh = "-60+100" }                           through 60, on 100 (US sieves)
#   { range_um = [50, 150] }
#   { grit = "F220" }                              or "P180"
#   { laser = "laser.csv" }                        columns lower_um,upper_um,volume_pct or size_um,cum_volume_pct
#   { counts = "counts.csv" }                      columns lower_um,upper_um,count
#   { rr_size_um = 120, rr_exponent = 1.8 }        Rosin-Rammler
#   { ggs_size_um = 300, ggs_exponent = 1.1 }      Gates-Gaudin-Schuhmann
#
# The rest of the scrub (water, oil, acid, preservative ...) can stand here too, as [[phase]] with [[phase.ingredient]];
# `gritwise formula scrub.toml` checks it.
"#;

/// A scrub to begin with on the page: nothing in it is measured.
pub const NEW_SCRUB: &str = r#"[scrub]
name = "New scrub"
powder_load_pct = 5.0          # all powders together, % w/w of the finished scrub

[[powder]]
material = "rice-grain"
parts = 1                      # parts by mass of the powder blend
size = { d50_um = 100, gsd = 1.5 }
"#;

/// The starter sieve table.
pub const STARTER_SIEVE: &str = "\
# A sieve test: weigh what stays on each sieve, coarse to fine, the pan last. Invented numbers; put yours in.
# Instead of opening_um you may write mesh (US numbers), instead of retained_g: retained_pct, cum_retained_pct or
# cum_passing_pct.
opening_um,retained_g
425,0.0
300,3.1
212,21.8
150,38.5
106,22.4
75,10.2
pan,4.0
";
