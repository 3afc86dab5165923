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
const THREE: [(f64, u32); 3] = [(0.4, 360), (0.6, 360), (0.8, 360)];
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
        written(folder, &unit, &with_legs(&rig, &THREE)?)?,
        written(folder, "around.toml", &procedure.replace(HOLD[0], HOLD[1]))?,
    ])
}

/// A rig file whose drive goes other legs: to and fro at a speed (rad/s) over an angle (°), one pair after the other.
///
/// # Errors
/// When the file does not say what legs its drive goes.
pub fn with_legs(rig: &str, legs: &[(f64, u32)]) -> Result<String, String> {
    let parts = rig
        .split_once(LEGS[0])
        .and_then(|(before, rest)| Some((before, rest.split_once(LEGS[1])?.1)));
    let (before, after) = parts.ok_or("the rig file does not say what legs its drive goes")?;
    let both =
        |leg: &dyn Fn(&(f64, u32)) -> [String; 2]| legs.iter().flat_map(leg).collect::<Vec<_>>().join(", ");
    let speeds = both(&|(v, _)| [format!("\"{v} rad/s\""), format!("\"-{v} rad/s\"")]);
    let angles = both(&|(_, a)| [format!("\"{a} deg\""), format!("\"{a} deg\"")]);
    Ok(format!(
        "{before}{}{speeds}]\nangles = [{angles}]\n{}{after}",
        LEGS[0], LEGS[1]
    ))
}
