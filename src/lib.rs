#![doc = "stub"]
pub mod numerics;
pub mod blend; pub mod powder; pub mod rub; pub mod size; pub mod source; pub mod tables; pub mod units;
