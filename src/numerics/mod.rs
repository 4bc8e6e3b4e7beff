//! Plain numerical tools that know nothing of powders: roots, minima, outlines on a grid, Gauss-Legendre panels, monotone
//! interpolation, least squares with and without constraints, linear programs, eigenvectors; the normal, t and χ²
//! distributions; rank correlation, a two-way layout with a trend, ordered categories; quasi-random points, quantiles of a
//! stream, Sobol indices; numbers as people write them. They sit under every other room and use none of them.

pub mod binomial;
pub mod contour;
pub mod eigen;
pub mod least_squares;
pub mod linear;
pub mod minimise;
pub mod mixed;
pub mod noncentral;
pub mod normal;
pub mod ordinal;
pub mod panel;
pub mod parallel;
pub mod pchip;
pub mod quasi;
pub mod rank;
pub mod roots;
pub mod sensitivity;
pub mod shuffle;
pub mod spread;
pub mod student;
mod sweep;
pub mod tally;
pub mod written;
