//! Turns under load by a drive that goes to and fro at three speeds and no others, for as long as three speeds need: the shipped drive goes
//! through fourteen legs for other procedures, and a level lasts for all of them.

use std::path::{Path, PathBuf};

use super::scene::Scene;
use super::{read, written};

/// Name of the procedure.
pub(super) const BRIEF: &str = "around-brief";

/// What the rig file says of the drive's legs, up to what follows them.
const LEGS: [&str; 2] = ["speeds = [", "acceleration = \"5 rad/s²\""];
/// The legs instead: `procedures/around.toml` names these, and how long a level has to last for them.
const THREE: &str = "speeds = [\"0.4 rad/s\", \"-0.4 rad/s\", \"0.6 rad/s\", \"-0.6 rad/s\", \"0.8 rad/s\", \"-0.8 rad/s\"]\nangle = \"360 deg\"\n";
const HOLD: [&str; 2] = ["hold = \"400 s\"", "hold = \"110 s\""];

/// Writes rig file and procedure of a seed into a folder.
///
/// # Errors
/// In words: files that cannot be read or written, or do not say what is changed here.
pub(super) fn in_folder(scene: &Scene, folder: &Path) -> Result<[PathBuf; 2], String> {
    let unit = format!("{}.toml", scene.wheelbase.word());
    let rig = read(&format!("rigs/{unit}"))?;
    let procedure = read("procedures/around.toml")?;
    if procedure.matches(HOLD[0]).count() != 1 {
        return Err(format!("procedures/around.toml does not say {} once", HOLD[0]));
    }
    Ok([
        written(folder, &unit, &three_speeds(&rig)?)?,
        written(folder, "around.toml", &procedure.replace(HOLD[0], HOLD[1]))?,
    ])
}

/// A rig file whose drive has three speeds.
fn three_speeds(rig: &str) -> Result<String, String> {
    let parts = rig
        .split_once(LEGS[0])
        .and_then(|(before, rest)| Some((before, rest.split_once(LEGS[1])?.1)));
    let (before, after) = parts.ok_or("the rig file does not say what legs its drive goes")?;
    Ok(format!("{before}{THREE}{}{after}", LEGS[1]))
}
