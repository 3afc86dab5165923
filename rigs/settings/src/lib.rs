//! Strict reading of TOML settings: quantities carry their units, errors carry their lines.
//!
//! A settings file is read once, in one go, and everything that is wrong with it is reported together. Nothing is
//! guessed: a bare number where a unit is due, an unknown key, a value out of its range are each a [`Finding`] that
//! names the file, the line, the key, the value, what is allowed and what to do.
//!
//! Reads never fail on the spot. A read that finds nothing usable notes a finding and gives a placeholder inside the
//! allowed range where there is one; [`Settings::finish`] hands the built value out only if there were no findings at
//! all, so a placeholder cannot leave this crate inside an accepted value.
//!
//! ```
//! use settings_file::{Settings, Torque, Time};
//!
//! struct Limits { torque_nm: f64, watchdog_s: f64 }
//!
//! fn read(text: &str) -> Result<Limits, settings_file::Findings> {
//!     let settings = Settings::parse("rig.toml", text)?;
//!     let root = settings.root();
//!     let limits = root.section("limits");
//!     let value = Limits {
//!         torque_nm: limits.quantity::<Torque>("torque", 0.0..=20.0),
//!         watchdog_s: limits.quantity::<Time>("watchdog", 0.005..=0.1),
//!     };
//!     settings.finish(value)
//! }
//!
//! let good = read("[limits]\ntorque = \"7 N·m\"\nwatchdog = \"20 ms\"").unwrap();
//! assert_eq!((good.torque_nm, good.watchdog_s), (7.0, 0.02));
//!
//! let bad = read("[limits]\ntorque = 7\nwatchdoc = \"20 ms\"").err().unwrap();
//! assert_eq!(bad.iter().count(), 3); // no unit, unknown key, missing key
//! ```
#![no_std]

extern crate alloc;

mod entry;
mod finding;
mod nearest;
mod quantity;
mod range;
mod section;
mod settings;
mod tree;
mod units;

pub use entry::{Date, Entry};
pub use finding::{Finding, Findings, Place};
pub use nearest::nearest;
pub use quantity::{Amount, AmountError, Quantity, Unit, parse_quantity, print_quantity, write_number};
pub use range::{any, positive};
pub use section::Section;
pub use settings::{MAX_BYTES, Settings};
pub use units::*;
