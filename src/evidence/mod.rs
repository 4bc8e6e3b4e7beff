//! How far a verdict can be trusted: its uncertainty, the lot at hand, and what testers felt.
