//! The rest of the scrub: its phases and ingredients, acid and pH, suspension, packing, filling, the batch.
