//! Grains in a base at rest: whether its yield stress holds them, and how fast they go if it does not. SI units.
//!
//! A sphere stays where it is when 2π R² τ over its weight less its buoyancy is above 0.143 (A. N. Beris, J. A.
//! Tsamopoulos, R. C. Armstrong and R. A. Brown, J. Fluid Mech. 158, 219, 1985); with the weight π d³ |Δρ| g / 6 that is
//! τ > 0.143/3 d |Δρ| g.
//!
//! Otherwise it moves at the velocity at which drag is its weight, C_D = 24/Re (1 + 0.15 Re^0.687) (L. Schiller and A.
//! Naumann, 1933; Stokes for small Re), slowed by the others to (1 − φ)^n (J. F. Richardson and W. N. Zaki, Trans. Inst.
//! Chem. Eng. 32, 1954).

use crate::numerics::roots::brent;

/// Grains that may move in a base.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fall {
    /// Diameter, m.
    pub diameter: f64,
    /// Density of the grain less that of the base, kg/m³; negative for grains that rise.
    pub excess: f64,
    /// Density of the base, kg/m³.
    pub base: f64,
    /// Viscosity of the base, Pa·s.
    pub viscosity: f64,
    /// Acceleration of free fall, m/s².
    pub gravity: f64,
}

/// Yield stress that holds grains of a diameter (m) and an excess density (kg/m³), Pa, at a share of d |Δρ| g.
pub fn yield_stress(share: f64, diameter: f64, excess: f64, gravity: f64) -> f64 {
    share * diameter * excess.abs() * gravity
}

/// Yield stress of a material of a density (kg/m³) of which a cylinder slumps, Pa; none where it does not slump, or to nothing.
///
/// s/H = 1 − 2τ' (1 − ln 2τ') with τ' = τ / (ρ g H): N. Pashias, D. V. Boger, J. Summers and D. J. Glenister, J. Rheol. 40, 1179, 1996.
pub fn slump_stress(density: f64, height: f64, slump: f64, gravity: f64) -> Option<f64> {
    let off = |twice: f64| 1.0 - twice * (1.0 - twice.ln()) - slump / height;
    let twice = brent(off, 1e-12, 1.0, 1e-12).ok()?;
    Some(0.5 * twice * density * gravity * height)
}

/// Share of d |Δρ| g that a critical yield number stands for.
pub fn share_of_yield_number(number: f64) -> f64 {
    number / 3.0
}

/// Drag coefficient of a sphere, Re up to about 800.
pub fn drag_coefficient(reynolds: f64) -> f64 {
    24.0 / reynolds * (1.0 + 0.15 * reynolds.powf(0.687))
}

/// Exponent of hindered settling at a Reynolds number, in a vessel far wider than the grains.
pub fn hindrance_exponent(reynolds: f64) -> f64 {
    match reynolds {
        re if re < 0.2 => 4.65,
        re if re < 1.0 => 4.35 * re.powf(-0.03),
        re if re < 500.0 => 4.45 * re.powf(-0.1),
        _ => 2.39,
    }
}

impl Fall {
    /// Velocity in the Stokes regime, m/s, without sign.
    pub fn stokes(&self) -> f64 {
        self.excess.abs() * self.gravity * self.diameter * self.diameter / (18.0 * self.viscosity)
    }

    /// Reynolds number at a velocity.
    pub fn reynolds(&self, velocity: f64) -> f64 {
        self.base * velocity * self.diameter / self.viscosity
    }

    /// Velocity of a lone grain, m/s, without sign.
    pub fn velocity(&self) -> f64 {
        let stokes = self.stokes();
        if stokes <= 0.0 {
            return 0.0;
        }
        // v (1 + 0.15 Re^0.687) = v Stokes rises with v, so the root is below the Stokes velocity and alone.
        let short = |v: f64| v * (1.0 + 0.15 * self.reynolds(v).powf(0.687)) - stokes;
        brent(short, 0.0, stokes, 1e-14 * stokes).unwrap_or(stokes)
    }

    /// Velocity among others that take the share `solids` of the volume, m/s, without sign.
    pub fn hindered(&self, solids: f64) -> f64 {
        let alone = self.velocity();
        alone * (1.0 - solids).powf(hindrance_exponent(self.reynolds(alone)))
    }
}
