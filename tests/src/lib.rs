//! What the whole program is held against, from outside.

pub mod belts;
pub mod campaign;
pub mod changed;
pub mod diagram;
pub mod kills;
pub mod model;
pub mod pairs;
#[cfg(target_os = "linux")]
pub mod parts;
pub mod program;
#[cfg(unix)]
pub mod pty_figures;
pub mod recording_figures;
pub mod records_figures;
pub mod recovery;
pub mod refit_figures;
pub mod safety;
pub mod seeds;
pub mod stopping;
