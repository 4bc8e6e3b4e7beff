//! Skin, finger and rub at a site, as the kernel takes them.

use crate::tables::{ModelConstants, Site};
use gritwise_kernel::{Contact, Skin};

/// Skin and finger pad at a site.
pub fn contact_at(site: &Site, constants: &ModelConstants) -> Contact {
    Contact::between(site.skin_modulus_mpa, constants.finger_modulus_mpa, constants.poisson_ratio)
}

/// All that a rub is solved with at a site.
pub fn skin_at(site: &Site, constants: &ModelConstants) -> Skin {
    Skin {
        contact: contact_at(site, constants),
        horn_hardness_mpa: constants.horn_hardness_mpa,
        half_kept_gpa: constants.half_kept_gpa(),
        least_gap_um: site.gap_um,
        pressure_mpa: site.pressure_kpa * 1e-3,
        dose_g_m2: site.dose_g_m2,
    }
}
