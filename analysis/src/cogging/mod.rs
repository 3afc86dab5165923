//! Torque that repeats with the angle: cogging and its relatives.
//!
//! | step | function |
//! | --- | --- |
//! | clean pieces of one direction, counts restored | [`tracks`] |
//! | torque on an even grid of angles | [`resample`] |
//! | what orders there are | [`order_spectrum`], [`find_lines`] |
//! | amplitude and phase of known orders | [`fit_orders`] |
//! | what a declared drivetrain would show | [`named_orders`], [`names_of`] |
//! | what both directions share and what they do not | [`skew`], [`split_directions`] |
//! | ripple that grows with the load | [`ripple_under_load`] |
//!
//! An order counts periods per turn of the rim. An order's torque is `A cos(n θ − φ)`. What is the same in both
//! directions (even) is cogging; what changes sign with the direction (odd) is friction that depends on the angle.
//! A spectrum over `N` turns parts orders `1/N` apart; a regression on known orders parts nearer ones only as far as its
//! columns differ, and says where they do not.
//!
//! Orders of permanent-magnet machines: Hanselman, Brushless Permanent Magnet Motor Design (2003), ch. 7; measurement
//! over the angle: Heins, Brown, Whiteman and others, IEEE Trans. Industry Applications 47 (2011).

mod directions;
mod load;
mod names;
mod orders;
mod resample;
mod spectrum;
mod tracks;

pub use directions::{DirectionPair, Skew, SplitLine, skew, split_directions};
pub use load::{LoadLevel, LoadedOrder, ripple_under_load};
pub use names::{Drivetrain, NamedOrder, Stage, cogging_periods, named_orders, names_of};
pub use orders::{OrderFit, OrderLine, OrderOptions, fit_orders};
pub use resample::{AngleGrid, resample};
pub use spectrum::{OrderSpectrum, SpectrumLine, find_lines, order_spectrum};
pub use tracks::{Track, TrackOptions, Tracks, Turning, tracks};
