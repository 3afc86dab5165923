//! Faults scripted for a virtual rig: from its file, and from the command line.

use virtual_rig::Fault;
use virtual_rig::faults::KINDS;

use super::{Bench, SessionError};

/// What a rig controller's firmware version begins with when faults are scripted there.
const ADMITTED: &str = "faults, ";

impl Bench {
    /// The same bench with these faults added to the virtual rig's script, each written `KIND at START [size SIZE]`.
    ///
    /// # Errors
    /// [`SessionError::Fault`] naming the argument, what is wrong with it and what is allowed;
    /// [`SessionError::FaultsElsewhere`] for a rig that is not simulated in this process.
    pub fn with_faults(mut self, texts: &[String]) -> Result<Self, SessionError> {
        let Some(rig) = &mut self.simulated else {
            return match texts {
                [] => Ok(self),
                _ => Err(SessionError::FaultsElsewhere),
            };
        };
        rig.faults.extend(faults_of(texts, rig.plant.tooth_rad)?);
        self.faults = rig.faults.iter().map(ToString::to_string).collect();
        Ok(self)
    }
}

/// Reads `--fault` arguments; `tooth_rad` is what a belt slips by where no size is given.
///
/// # Errors
/// [`SessionError::Fault`] for the first one that is no fault.
pub fn faults_of(texts: &[String], tooth_rad: Option<f64>) -> Result<Vec<Fault>, SessionError> {
    texts
        .iter()
        .map(|text| {
            Fault::from_text(text, tooth_rad).map_err(|why| SessionError::Fault {
                text: text.clone(),
                why,
            })
        })
        .collect()
}

/// What a rig says of its own script by its firmware's version.
pub(super) fn admitted(firmware: &str) -> Option<&'static str> {
    firmware
        .starts_with(ADMITTED)
        .then_some("scripted at the rig, by its own account")
}

/// Every kind of fault for the help text: word, size, meaning.
#[must_use]
pub fn fault_kinds_text() -> String {
    let wide = KINDS.iter().map(|info| info.word.len()).max().unwrap_or(0);
    let mut text = "Kinds of fault, with the range of their size:\n".to_owned();
    for info in &KINDS {
        text += &format!("  {:wide$}  [{}] {}\n", info.word, info.size_text(), info.meaning);
    }
    text
}
