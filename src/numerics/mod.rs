//! Plain numerical tools that know nothing of powders: roots, outlines on a grid, Gauss-Legendre panels, monotone
//! interpolation, least squares with and without constraints, linear programs and the normal distribution. They sit under every other room and use none of
//! them.
//! interpolation, least squares, linear programs, the normal distribution and Student's t. They sit under every other room
//! and use none of them.

pub mod contour;
pub mod least_squares;
pub mod linear;
pub mod normal;
pub mod panel;
pub mod pchip;
pub mod quadratic;
pub mod roots;
pub mod student;
