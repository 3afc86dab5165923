//! What can go wrong with records.

/// Why a record could not be written, read or trusted.
#[derive(Debug, thiserror::Error)]
pub enum RecordsError {
    /// An address that names no database.
    #[error(
        "\"{text}\" names no database: {problem}; write a path, sqlite:PATH, or postgres://USER@HOST/DATABASE"
    )]
    Address {
        /// As given, without a password.
        text: String,
        /// What is wrong.
        problem: String,
    },
    /// The database cannot be reached.
    #[error("the records at {address} cannot be reached: {why}")]
    Unreachable {
        /// Which, without a password.
        address: String,
        /// What was said.
        why: String,
    },
    /// The database refused something.
    #[error("the records at {address}: cannot {doing}: {why}")]
    Database {
        /// Which, without a password.
        address: String,
        /// What was tried.
        doing: &'static str,
        /// What was said.
        why: String,
    },
    /// A later version of this program has changed the tables.
    #[error(
        "the records at {address} have tables of version {found}, this program knows up to {known}: use the newer program"
    )]
    Newer {
        /// Which.
        address: String,
        /// Version of its tables.
        found: i64,
        /// What this program knows.
        known: i64,
    },
    /// What is in the database is not what this program wrote.
    #[error("entry {entry}: {problem}; look at it with `truerim records verify`")]
    Damaged {
        /// Its number.
        entry: i64,
        /// What is wrong.
        problem: String,
    },
    /// Nothing of that name is recorded.
    #[error("{what}; {advice}")]
    Unknown {
        /// What was looked for and not found.
        what: String,
        /// What to do.
        advice: String,
    },
    /// What was asked for must not be recorded.
    #[error("{what} is not recorded: {why}")]
    Refused {
        /// What was to be recorded.
        what: String,
        /// Why not, and what to do.
        why: String,
    },
    /// A limits file is wrong.
    #[error("{0}")]
    Limits(#[from] settings_file::Findings),
}

impl RecordsError {
    /// Whether the database could not be reached or did not answer: what was to be written may be tried again later.
    #[must_use]
    pub const fn may_pass(&self) -> bool {
        matches!(self, Self::Unreachable { .. } | Self::Database { .. })
    }
}

/// An error with what lies below it, in one line.
pub(crate) fn told(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut below = error.source();
    while let Some(error) = below {
        let more = error.to_string();
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        below = error.source();
    }
    text
}
