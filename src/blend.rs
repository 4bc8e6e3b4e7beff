//! Powders blended by mass, and what the blend measures as: by volume, as a laser instrument would report it, and by mass,
//! as a stack of sieves would weigh it. The two differ as soon as densities do.

use crate::numerics::roots::newton_bracketed;
use crate::powder::{Powder, Range};
use crate::size::SizeRecord;
use crate::size::statistics::Moments;
use crate::units::{LoadPercent, Parts};
use ndarray::{Array1, Array2};

/// What can be wrong with a blend.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BlendError {
    /// No powder.
    #[error("a scrub needs at least one powder; add a [[powder]] with name, parts, material and size")]
    Empty,
}

/// Which share a curve is weighted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// Share of the grains' volume: what a laser instrument reports.
    Volume,
    /// Share of the mass: what a stack of sieves weighs.
    Mass,
}

/// A powder in a blend.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// The powder.
    pub powder: Powder,
    /// Its parts by mass, as given.
    pub parts: Parts,
    /// Mass share of the blend, 0..1.
    pub mass: f64,
    /// Volume share of the blend, 0..1.
    pub volume: f64,
}

/// A blend of powders.
#[derive(Debug, Clone, PartialEq)]
pub struct Blend {
    components: Vec<Component>,
    density_g_cm3: f64,
}

impl Blend {
    /// Blends powders by parts of mass.
    ///
    /// # Errors
    /// [`BlendError::Empty`] without powders.
    pub fn new(powders: Vec<(Powder, Parts)>) -> Result<Self, BlendError> {
        if powders.is_empty() {
            return Err(BlendError::Empty);
        }
        let parts: f64 = powders.iter().map(|p| p.1.get()).sum();
        let mass: Vec<f64> = powders.iter().map(|p| p.1.get() / parts).collect();
        // Volume per gram of blend, cm³/g; its inverse is the blend's density.
        let specific: f64 = powders.iter().zip(&mass).map(|(p, w)| w / p.0.density.get()).sum();
        let components = powders
            .into_iter()
            .zip(mass)
            .map(|((powder, parts), mass)| {
                let volume = mass / powder.density.get() / specific;
                Component { powder, parts, mass, volume }
            })
            .collect();
        Ok(Self { components, density_g_cm3: 1.0 / specific })
    }

    /// The powders, in the order given.
    pub fn components(&self) -> &[Component] {
        &self.components
    }

    /// Names of powders whose coarse end nothing tells ([`SizeRecord::has_no_top`]), so that the blend has no known top.
    pub fn open_topped(&self, share: f64) -> Vec<&str> {
        let open = self.components.iter().filter(|c| c.powder.size.has_no_top(share));
        open.map(|c| c.powder.name.as_str()).collect()
    }

    /// What the trade keeps off the face, % of the powders that are there, at these mass shares.
    pub fn not_on_face_pct(&self, mass_shares: &[f64]) -> f64 {
        let kept_off = self.components.iter().zip(mass_shares).filter(|(c, _)| c.powder.not_on_face().is_some());
        100.0 * kept_off.map(|(_, share)| share).sum::<f64>() / mass_shares.iter().sum::<f64>()
    }

    /// Of these mass shares those that are left when what dissolves is gone, the rest 0; `None` where nothing dissolves, or all does.
    pub fn undissolved(&self, mass_shares: &[f64]) -> Option<Vec<f64>> {
        let stays = |c: &Component| c.powder.solubility_g_per_100ml().is_none();
        let all = self.components.iter().zip(mass_shares).filter(|(_, share)| **share > 0.0);
        let (some_stay, some_go) = (all.clone().any(|(c, _)| stays(c)), all.clone().any(|(c, _)| !stays(c)));
        let left = self.components.iter().zip(mass_shares).map(|(c, share)| if stays(c) { *share } else { 0.0 });
        (some_stay && some_go).then(|| left.collect())
    }

    /// Mass shares of the powders, 0..1, in their order.
    pub fn mass_shares(&self) -> Vec<f64> {
        self.components.iter().map(|c| c.mass).collect()
    }

    /// Density of the blend's solid, 1 / Σ(w/ρ), g/cm³.
    pub fn density_g_cm3(&self) -> f64 {
        self.density_g_cm3
    }

    /// Undersize (0..1) at a size in µm.
    pub fn undersize(&self, basis: Basis, size_um: f64) -> f64 {
        self.weighted(basis, |c| c.powder.size.distribution.undersize(size_um))
    }

    /// Density per unit of ln x at ln (x / µm).
    pub fn density_ln(&self, basis: Basis, ln_x: f64) -> f64 {
        self.weighted(basis, |c| c.powder.size.distribution.density_ln(ln_x))
    }

    /// Size in µm below which the share `p` (0..1) lies.
    pub fn quantile(&self, basis: Basis, p: f64) -> f64 {
        let shares: Vec<f64> = self.components.iter().map(|c| share(c, basis)).collect();
        self.mixed_quantile(p, &shares)
    }

    /// Percentile of the mixture under shares of the caller's own, one per powder; they need not sum to 1.
    pub(crate) fn mixed_quantile(&self, p: f64, shares: &[f64]) -> f64 {
        let parts = shares.iter().zip(&self.components).map(|(w, c)| (*w, &c.powder.size.distribution));
        let used: Vec<_> = parts.filter(|(w, _)| *w > 0.0).collect();
        let own = used.iter().map(|(_, d)| d.quantile(p).ln());
        let (lo, hi) = own.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), ln_x| (lo.min(ln_x), hi.max(ln_x)));
        if hi <= lo {
            return lo.exp();
        }
        let wanted = p * used.iter().map(|(w, _)| *w).sum::<f64>();
        let undersize = |ln_x: f64| {
            used.iter().fold((-wanted, 0.0), |(value, slope), (w, d)| {
                (value + w * d.undersize_ln(ln_x), slope + w * d.density_ln(ln_x))
            })
        };
        newton_bracketed(undersize, lo, hi, 0.5 * (lo + hi), 1e-13).exp()
    }

    /// The same blend with one powder's sizes all multiplied by `factor`.
    pub(crate) fn with_powder_scaled(&self, powder: usize, factor: f64) -> Self {
        let mut blend = self.clone();
        let size = &mut blend.components[powder].powder.size;
        *size = size.scaled(factor);
        blend
    }

    /// The same blend with other sizes of one powder.
    pub(crate) fn with_powder_size(&self, powder: usize, size: SizeRecord) -> Self {
        let mut blend = self.clone();
        blend.components[powder].powder.size = size;
        blend
    }

    /// Moments of the blend by volume: those of its powders, each as [`crate::size::SizeRecord::moments`] has them, so that a
    /// blend of one powder has the means of that powder.
    pub fn moments(&self) -> Moments {
        Moments::mixed(self.components.iter().map(|c| (c.volume, c.powder.size.moments())))
    }

    /// Undersize of every powder (columns) at sizes in µm (rows), and of the blend by the given basis.
    pub fn undersize_curves(&self, basis: Basis, sizes_um: &[f64]) -> (Array2<f64>, Array1<f64>) {
        self.curves(basis, sizes_um, |c, x| c.powder.size.distribution.undersize(x))
    }

    /// Density per unit of ln x of every powder (columns) at sizes in µm (rows), and of the blend.
    pub fn density_curves(&self, basis: Basis, sizes_um: &[f64]) -> (Array2<f64>, Array1<f64>) {
        self.curves(basis, sizes_um, |c, x| c.powder.size.distribution.density_ln(x.ln()))
    }

    /// One value per size and powder; the blend's curve is the matrix times the shares.
    fn curves(
        &self,
        basis: Basis,
        sizes_um: &[f64],
        value: impl Fn(&Component, f64) -> f64,
    ) -> (Array2<f64>, Array1<f64>) {
        let shape = (sizes_um.len(), self.components.len());
        let powders = Array2::from_shape_fn(shape, |(i, j)| value(&self.components[j], sizes_um[i]));
        let shares = self.components.iter().map(|c| share(c, basis)).collect::<Array1<f64>>();
        let blend = powders.dot(&shares);
        (powders, blend)
    }

    fn weighted(&self, basis: Basis, value: impl Fn(&Component) -> f64) -> f64 {
        self.components.iter().map(|c| share(c, basis) * value(c)).sum()
    }
}

fn share(c: &Component, basis: Basis) -> f64 {
    match basis {
        Basis::Volume => c.volume,
        Basis::Mass => c.mass,
    }
}

/// A scrub as far as its powders go: a blend and how much of it the scrub holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Scrub {
    /// Name.
    pub name: String,
    /// All powders together, % w/w of the scrub.
    pub load: LoadPercent,
    /// The range that the user gave for it, if any.
    pub load_range: Option<Range>,
    /// The powders.
    pub blend: Blend,
}

impl Scrub {
    /// What the powders in a kilogram of scrub cost; `None` unless every powder has a price.
    pub fn cost_per_kg(&self) -> Option<f64> {
        let per_kg_of_blend = self.blend.components.iter().map(|c| Some(c.mass * c.powder.stock.price_per_kg?));
        per_kg_of_blend.sum::<Option<f64>>().map(|cost| cost * self.load.fraction())
    }
}
