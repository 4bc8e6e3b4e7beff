//! Contact mechanics against textbook cases, and the two scales that grain properties are read from.

use crate::common::{assert_close, rounded, tables, um};
use gritwise::numerics::roots::brent;
use gritwise::powder::{from_mohs, of_class};
use gritwise::rub::{Contact, Grains, Partition, Population, carried_mpa, rub};
use gritwise::size::SizeDistribution;
use gritwise::tables::{ModelConstants, Site};
use gritwise::units::Mohs;
use statrs::function::gamma::{gamma, gamma_lr};
use std::f64::consts::PI;

/// A body so stiff that the other takes all of the squeeze.
const RIGID_MPA: f64 = 1e20;

#[test]
fn hertz_sphere_on_a_flat() {
    // Published exercise with a stated answer: sphere of R = 8 mm on a flat, one body elastic with E = 1000 N/mm² and
    // nu = 0.3, F = 60 pi N = 188.5 N; contact radius 1.010 mm. Lengths here are µm, forces µN.
    let contact = Contact::between(1000.0, RIGID_MPA, 0.3);
    let diameter = 16_000.0;
    let short = |gap: f64| contact.force_un(diameter, gap) - 60.0 * PI * 1e6;
    let squeeze = diameter - brent(short, diameter - 1000.0, diameter, 1e-9).unwrap();
    let radius_mm = (8000.0 * squeeze).sqrt() / 1000.0;
    assert_eq!(rounded(radius_mm, 3), 1.010, "published exercise: contact radius in mm");
    assert_close("the same, a = (3FR/4E')^(1/3), derived", radius_mm, 1.0096, 5e-5);
    assert_close("the same, approach a²/R in mm, derived", squeeze / 1000.0, 0.1274, 5e-4);
    // Textbook problem, answer derived: steel ball of 50 mm on a steel flat, 200 GPa and nu = 0.3 both, 500 N; the two
    // bodies together have half the modulus of one; approach 7.75 µm.
    let steel = Contact::between(100_000.0, RIGID_MPA, 0.3);
    assert_close("textbook problem, derived: force in N", steel.force_un(5e4, 5e4 - 7.75) * 1e-6, 500.0, 1e-3);
}

#[test]
fn hertz_forces_of_both_bodies_are_equal() {
    // Derived from Hertz (Johnson, Contact Mechanics, 1985, section 4.2): alone, a body lets the grain in by
    // (F / F_alone)^(2/3) of the whole squeeze; skin and finger pad in series share the squeeze, nothing is left over.
    for (skin, finger) in [(0.2, 0.2), (0.2, 0.05), (0.05, 0.5), (2.0, 0.1)] {
        for (size, gap) in [(31.0, 30.0), (120.0, 30.0), (800.0, 60.0)] {
            let force = Contact::between(skin, finger, 0.48).force_un(size, gap);
            let into = |modulus: f64| {
                let alone = Contact::between(modulus, RIGID_MPA, 0.48).force_un(size, gap);
                (force / alone).cbrt().powi(2)
            };
            assert_close(&format!("derived: {skin} and {finger} MPa, {size} µm"), into(skin) + into(finger), 1.0, 1e-9);
        }
    }
    let (two, one) = (Contact::between(0.2, 0.2, 0.48), Contact::between(0.2, RIGID_MPA, 0.48));
    let ratio = one.force_un(100.0, 40.0) / two.force_un(100.0, 40.0);
    assert_close("derived: equal bodies halve the squeeze of each", ratio, 2.0_f64.powf(1.5), 1e-9);
    assert_eq!(two.force_un(40.0, 40.0), 0.0, "a grain no wider than the gap is not squeezed");
}

/// Grains that bear like an exponential Greenwood-Williamson surface: asperities of tip radius `BETA`, `ETA` to the area,
/// heights spread as exp(−z/s)/s. Grains of size x in number ETA √BETA / √(x/2) exp(−x/s)/s carry the same, since a
/// grain's own tip radius is x/2. Their volume goes as x^2.5 exp(−x/s): an incomplete gamma function of order 3.5.
mod surface {
    use super::{PI, SizeDistribution, gamma, gamma_lr, um};

    pub const BETA_UM: f64 = 150.0;
    /// 1e6 to the m².
    pub const ETA_PER_UM2: f64 = 1e-6;
    pub const S_UM: f64 = 20.0;
    /// Grains below and above these are left out: they never touch, and there are none.
    const FINEST_UM: f64 = 10.0;
    const COARSEST_UM: f64 = 40.0 * S_UM;
    const KNOTS: u32 = 3000;

    fn volume_below(x: f64) -> f64 {
        gamma_lr(3.5, x / S_UM)
    }

    pub fn grains() -> SizeDistribution {
        let (low, whole) = (volume_below(FINEST_UM), volume_below(COARSEST_UM) - volume_below(FINEST_UM));
        let step = (COARSEST_UM / FINEST_UM).ln() / f64::from(KNOTS);
        let inner = (1..KNOTS).map(|i| {
            let x = FINEST_UM * (step * f64::from(i)).exp();
            (um(x), (volume_below(x) - low) / whole)
        });
        let ends = [(um(FINEST_UM), 0.0), (um(COARSEST_UM), 1.0)];
        let knots: Vec<_> = ends[..1].iter().copied().chain(inner).chain(ends[1..].iter().copied()).collect();
        SizeDistribution::measured(&knots).unwrap()
    }

    /// Volume of all grains to the area, µm.
    pub fn layer_um() -> f64 {
        let whole = volume_below(COARSEST_UM) - volume_below(FINEST_UM);
        ETA_PER_UM2 * (2.0 * BETA_UM).sqrt() * PI / 6.0 * S_UM.powf(2.5) * gamma(3.5) * whole
    }
}

#[test]
fn greenwood_williamson_with_exponential_heights() {
    // Greenwood and Williamson 1966, closed form for exponential heights: P = 4/3 E* eta √beta s^1.5 Γ(5/2) exp(−d/s).
    // Worked (derived, confirmed by quadrature elsewhere): E* 1 MPa, beta 150 µm, eta 1e6 to the m², s 20 µm, d 30 µm
    // give 433.2353 Pa.
    const WORKED_PA: f64 = 433.235_3;
    let closed_pa = |gap: f64| {
        let front = 4.0 / 3.0 * surface::ETA_PER_UM2 * surface::BETA_UM.sqrt() * surface::S_UM.powf(1.5);
        1e6 * front * gamma(2.5) * (-gap / surface::S_UM).exp()
    };
    assert_close("Greenwood and Williamson 1966: the worked number", closed_pa(30.0), WORKED_PA, 1e-7);

    let poisson = 0.3;
    let skin_mpa = 1.0 - poisson * poisson;
    let contact = Contact::between(skin_mpa, RIGID_MPA, poisson);
    let distribution = surface::grains();
    let layer = surface::layer_um();
    let population = Population::from_iter([Grains::new(&distribution, 2.0, 5.0, 0.25, 10.0)]);
    for gap in [15.0, 30.0, 47.3, 100.0] {
        let pascals = carried_mpa(&population, &[layer], &contact, gap) * 1e6;
        assert_close(&format!("Greenwood and Williamson 1966: gap {gap} µm"), pascals, closed_pa(gap), 2e-6);
    }

    // The other way round: the worked pressure must hold the bodies 30 µm apart, and all of it must rest on the grains.
    let tables = tables();
    let constants =
        ModelConstants { finger_modulus_mpa: RIGID_MPA, poisson_ratio: poisson, ..tables.constants.values() };
    let site = Site {
        skin_modulus_mpa: skin_mpa,
        pressure_kpa: WORKED_PA / 1000.0,
        dose_g_m2: 40.0,
        gap_um: 12.0,
        ..tables.site("face").unwrap().values()
    };
    let rubbed = rub(&population, &[layer / site.dose_g_m2], &site, &constants);
    assert_eq!(rubbed.partition, Partition::GrainBorne);
    assert_close("Greenwood and Williamson 1966: gap solved, µm", rubbed.gap_um, 30.0, 2e-6);
    assert_close("all of the load", rubbed.carried, 1.0, 1e-9);
    // At a least gap beyond that the grains carry what the closed form says of it, and film and skin the rest.
    let site = Site { gap_um: 50.0, ..site };
    let rubbed = rub(&population, &[layer / site.dose_g_m2], &site, &constants);
    assert_eq!((rubbed.partition, rubbed.gap_um), (Partition::Shared, 50.0));
    assert_close("derived: exp(−20/20) of the load", rubbed.carried, (-1.0_f64).exp(), 2e-6);
}

#[test]
fn mohs_numbers_to_vickers_hardness() {
    let scale = &tables().mohs;
    let hardness = |mohs: f64| from_mohs(scale, Mohs::new(mohs).unwrap());
    // Broz, Cook and Whitney 2006, Am. Mineral. 91, 135: GPa, from memory.
    for (mohs, gpa) in [
        (1.0, 0.14),
        (2.0, 0.61),
        (3.0, 1.49),
        (4.0, 2.0),
        (5.0, 5.43),
        (6.0, 6.87),
        (7.0, 12.2),
        (8.0, 17.6),
        (9.0, 19.6),
        (10.0, 117.0),
    ] {
        assert_close(&format!("Broz, Cook and Whitney 2006, from memory: Mohs {mohs}"), hardness(mohs), gpa, 1e-12);
    }
    // Derived: straight in ln H between the minerals.
    for (mohs, low, high, part) in [(1.5, 0.14, 0.61, 0.5), (2.25, 0.61, 1.49, 0.25), (6.5, 6.87, 12.2, 0.5)] {
        let want = f64::powf(low, 1.0 - part) * f64::powf(high, part);
        assert_close(&format!("derived: Mohs {mohs}"), hardness(mohs), want, 1e-12);
    }
}

#[test]
fn powers_classes_to_wadell_roundness() {
    let classes = &tables().roundness;
    // Powers 1953, J. Sediment. Petrol. 23, 117: bounds and geometric means of the classes, from memory.
    for (class, low, high, mean) in [
        ("very angular", 0.12, 0.17, 0.14),
        ("angular", 0.17, 0.25, 0.21),
        ("subangular", 0.25, 0.35, 0.30),
        ("subrounded", 0.35, 0.49, 0.41),
        ("rounded", 0.49, 0.70, 0.59),
        ("well rounded", 0.70, 1.00, 0.84),
    ] {
        let got = of_class(classes, class).unwrap().get();
        assert_eq!(got, mean, "Powers 1953, from memory: {class}");
        assert_eq!(rounded(f64::sqrt(low * high), 2), got, "geometric mean of the bounds (derived): {class}");
        assert_eq!(of_class(classes, &class.to_uppercase().replace(' ', "-")).unwrap().get(), mean);
    }
    let message = of_class(classes, "sub-rounded").unwrap_err().to_string();
    assert!(message.contains("subrounded"), "{message}");
}
