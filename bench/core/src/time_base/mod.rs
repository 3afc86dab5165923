//! One time base for two clocks: how far a second clock is ahead of the host's, and how wrong that can be at most.
//!
//! The rig's clock is the clock of a recording; a second device brings another one, or none. What is known of a second
//! clock are [`Mark`]s: "at this host time it was ahead by this, give or take that". A mark comes from
//!
//! - a round trip ([`RoundTrip`]): the second clock was read between sending and receiving, so its offset is known to half the
//!   time on the way, however the way divides (RFC 5905, chapter 8; PROTOCOL.md, chapter 13);
//! - a one-way stamp ([`OneWay`]): a device that counts what it sends, each arriving later than it was sent, the least
//!   delayed of many by no more than a declared time.
//!
//! Of each group of marks the least delayed one is kept ([`filter`], as the clock filter of RFC 5905, chapter 10, does), and
//! a straight line is laid through those ([`mod@line`]): offset and drift. Its bound is a bound, not a standard deviation: asymmetry
//! of the way is the same in every round trip, so no average removes it. Taken as a rectangular distribution the standard uncertainty
//! is bound / √3 (JCGM 100, 4.3.7).
//!
//! A clock that jumps (a device restarted, a line lost of a stream that is counted) begins a new piece ([`TimeBase`]).
//!
//! **Validity.** The bound holds as long as within one piece the second clock's rate stays within
//! [`Settings::wander`] of a constant, and a jump smaller than the widths of the marks cannot be seen.

pub mod filter;
pub mod line;
mod mark;
mod pieces;

pub use mark::{Mark, OneWay, RoundTrip};
pub use pieces::{Offset, Settings, TimeBase};
