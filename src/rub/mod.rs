//! One rub: grains between finger pad and skin share the load, plough grooves, and take horn away.
//!
//! Lengths are µm, stresses MPa and forces µN throughout this room, which makes MPa µm² = µN. A dose of 1 g/m² of
//! something of 1 g/cm³ is a layer of 1 µm, so a powder's *layer* is its dose over its density, in µm.

mod contact;
mod model;
mod population;
mod solve;
mod work;

pub use contact::{contact_at, skin_at};
pub use gritwise_kernel::Contact;
pub use gritwise_kernel::groove::{relative_depth, relative_section};
pub use model::{RubModel, Rubbed};
pub use population::{Grains, Population};
pub use solve::{Partition, Response, SiteRub, carried_mpa, response, rub};
pub use work::Work;
