//! The shipped rigs in their mountings.

use bench_core::rig::{Mounting, Rig};
use virtual_rig::RigParameters;

/// One shipped wheelbase.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Unit {
    /// Gears and a belt.
    Geared,
    /// A belt.
    Belt,
    /// A direct drive.
    Direct,
}

impl Unit {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Geared, Self::Belt, Self::Direct];

    /// Its word on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Geared => "geared",
            Self::Belt => "belt",
            Self::Direct => "direct",
        }
    }

    /// The one of a word.
    ///
    /// # Errors
    /// The words that there are.
    pub fn of_word(word: &str) -> Result<Self, String> {
        let named = Self::ALL.into_iter().find(|unit| unit.word() == word);
        named.ok_or_else(|| "one of geared, belt, direct".to_owned())
    }

    /// Its rig file.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Geared => include_str!("../../../rigs/geared.toml"),
            Self::Belt => include_str!("../../../rigs/belt.toml"),
            Self::Direct => include_str!("../../../rigs/direct.toml"),
        }
    }

    /// The rig as the bench reads it.
    #[must_use]
    pub fn rig(self, text: &str, mounting: Mounting) -> Rig {
        Rig::mounted(self.word(), text, Some(mounting)).unwrap_or_else(|findings| panic!("{findings}"))
    }

    /// The rig as it is.
    #[must_use]
    pub fn parameters(self, text: &str, mounting: Mounting, seed: u64) -> RigParameters {
        let mounting = Some(truerim::session::simulated(mounting));
        RigParameters::mounted(self.word(), text, seed, mounting)
            .unwrap_or_else(|findings| panic!("{findings}"))
    }
}

/// The mounting of a word.
///
/// # Errors
/// The words that there are.
pub fn mounting_of_word(word: &str) -> Result<Mounting, String> {
    let named = Mounting::WORDS.iter().find(|(known, _)| *known == word);
    named
        .map(|(_, mounting)| *mounting)
        .ok_or_else(|| "one of clamped, free, back-driven".to_owned())
}

/// Every mounting.
pub const MOUNTINGS: [Mounting; 3] = [Mounting::Clamped, Mounting::Free, Mounting::BackDriven];
