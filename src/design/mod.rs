//! Blends that meet a target: comparing scrubs, walking a share, finding a blend, replacing a powder.
