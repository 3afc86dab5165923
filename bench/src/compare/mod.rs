//! Groups of fits side by side: what differs, by how much, and whether by more than chance and the bench's own repeatability
//! explain.
//!
//! Every quantity that both groups hold under the same definition is compared: the difference of the groups' means with its
//! interval (JCGM 100:2008, 5.2.2 and G.4.1). What both owe to one certificate or one rig cancels, by the rules of [`Cause`];
//! what scatters is taken from the repeats within a run or, where it is wider, from repeats with the rim clamped anew. All
//! tests of one comparison are one family, corrected by Holm's method.
//!
//! No difference shown does not mean alike: such a result comes with the size that a difference does not exceed.

mod cause;
mod contrast;
mod document;
mod group;
mod pairing;
mod rows;
mod setup;
mod spread;
mod ways;
mod words;

pub use cause::Cause;
pub use document::{
    Compared, Comparison, GroupFacts, Known, MemberFacts, Row, RowOutcome, SCHEMA, SCHEMA_VERSION, Severity,
    SpreadKind, SpreadUsed, Warning,
};
pub use group::{CompareError, Group, Remounting};
pub use rows::{CompareOptions, compare};
pub use ways::{Told, Ways};
pub use words::{
    against_spread, bound_text, chance, difference_text, sentence, short_verdict, would_find_text,
};
