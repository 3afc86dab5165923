//! Two groups, or two estimates, side by side; and what many tests at once are worth.
//!
//! That a difference is not significant does not make two things alike: [`equivalence`] states how far apart they may
//! be and tests that, [`judge`] gives the three possible answers.

mod difference;
mod equivalence;
mod holm;

pub use difference::{Difference, Mean, difference, paired, welch};
pub use equivalence::{Equivalence, Finding, Margin, equivalence, judge};
pub use holm::{holm, holm_rejects};
