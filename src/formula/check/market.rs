//! Where it is sold, against the regions whose law the tables hold: what no table covers is not judged there.

use super::super::{Use, allergens as known_allergens};
use super::Setting;

/// Whether the scrub is sold in a region; where it says nowhere, in all.
pub(super) fn is_sold(s: &Setting, region: &str) -> bool {
    let regions = &s.formula.usage.regions;
    regions.is_empty() || regions.iter().any(|r| r == region)
}

fn beyond(s: &Setting, covered: &[&str], what: &str) -> Option<String> {
    beyond_tables(&s.formula.usage, covered, what)
}

/// Regions where it is sold that are none of `covered`, in words; none when it says nowhere, which means where the tables reach.
pub(crate) fn beyond_tables(usage: &Use, covered: &[&str], what: &str) -> Option<String> {
    let sold = usage.regions.iter().map(String::as_str);
    let open: Vec<&str> = sold.filter(|region| !covered.contains(region)).collect();
    let open = open.join(", ");
    (!open.is_empty()).then(|| format!("not judged for {open}: the tables hold no {what} of that market; look them up"))
}

/// Limits of acids; nothing where there is no acid.
pub(super) fn acids(s: &Setting) -> Option<String> {
    let limits = s.tables.formula.acid_limits.iter();
    let covered: Vec<&str> = limits.map(|l| l.region.as_str()).collect();
    matches!(s.acid, Ok(Some(_))).then(|| beyond(s, &covered, "limits for acids"))?
}

/// Limits of preservatives, which are those of EU Annex V.
pub(super) fn preservatives(s: &Setting) -> Option<String> {
    s.has_phases().then(|| beyond(s, &["EU"], "limits for preservatives"))?
}

/// Allergens to be named.
pub(super) fn allergens(s: &Setting) -> Option<String> {
    beyond(s, &known_allergens::REGIONS, "list of allergens")
}

/// Rules on plastic grains.
pub(super) fn plastics(s: &Setting) -> Option<String> {
    let regions = s.tables.refusals.iter().filter_map(|r| s.tables.substances.region(&r.jurisdiction));
    beyond(s, &regions.collect::<Vec<_>>(), "rules on plastic grains")
}

/// Lists of prohibited and restricted substances.
pub(super) fn lists(s: &Setting) -> Option<String> {
    let entries = s.tables.substances.annexes.iter();
    beyond(s, &entries.map(|e| e.region.as_str()).collect::<Vec<_>>(), "prohibited or restricted substances")
}
