//! What a look at a new rig found: a line each, with what to do about it.
//!
//! - [`clock`] holds the rig's clock against this computer's.
//! - [`noise`] follows every channel at rest.
//! - [`torque`] plays the smallest torque for sign and gain.
//! - [`emergency`] watches the emergency-stop input.
//! - `list` puts the findings together; `page` writes them down.

pub mod clock;
pub mod emergency;
mod list;
pub mod noise;
pub mod page;
pub mod torque;

pub use emergency::{Pressed, watch_emergency_stop};
pub use list::{Extras, findings};
pub use torque::{Smallest, smallest_torque, smallest_torque_over};

/// How a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// As it should be.
    Good,
    /// It works, and results or comfort suffer.
    Attention,
    /// Nothing should be measured like this.
    Bad,
    /// It was not looked at.
    NotTried,
}

impl Verdict {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Attention => "attention",
            Self::Bad => "bad",
            Self::NotTried => "not tried",
        }
    }
}

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What.
    pub name: String,
    /// How it is.
    pub verdict: Verdict,
    /// What was found, with numbers.
    pub found: String,
    /// What to do about it; empty where nothing is to be done.
    pub advice: String,
}

impl Finding {
    fn new(name: impl Into<String>, verdict: Verdict, found: impl Into<String>, advice: &str) -> Self {
        Self {
            name: name.into(),
            verdict,
            found: found.into(),
            advice: if verdict == Verdict::Good {
                String::new()
            } else {
                advice.to_owned()
            },
        }
    }
}
