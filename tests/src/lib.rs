//! What the whole program is held against, from outside.

pub mod campaign;
pub mod kills;
#[cfg(unix)]
pub mod pty_figures;
pub mod recovery;
pub mod safety;
pub mod stopping;
