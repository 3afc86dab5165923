//! Trends and shifts: when did something change, and what goes with it?
//!
//! [`change_points`] says when, without asking why. [`causes`] looks for the bench, fixture, firmware or batch that goes
//! with a shift or a drift, one at a time, each accounted for before the next is looked for, and says so where two of them
//! cannot be told apart.

mod causes;
mod groups;
mod search;
mod segments;
mod spans;
mod trend;

pub use causes::{Cause, Factor, Kind, causes};
pub use groups::{GroupTest, analysis_of_variance, kruskal_wallis};
pub use segments::{Segment, Segments, change_points, usual_penalty};
pub use trend::{Trend, trend};
