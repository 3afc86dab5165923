//! The same unit with a tenth of its heat capacities, warmed by the same procedure in a tenth of the time: a hundred seeds of three
//! quarters of an hour each would take hours. Resistances stay, so temperatures in the end and sustained torque do too, and all times
//! are a tenth.

use std::path::{Path, PathBuf};

use super::scene::Scene;
use super::{read, written};

/// Name of the procedure.
pub(super) const TENFOLD: &str = "heat-tenfold";

/// Factor of all times.
pub(super) const SHARE: f64 = 0.1;

/// Holds and rests of the procedure, and what becomes of them.
const TIMES: [(&str, &str); 4] = [
    ("hold = \"60 s\"", "hold = \"6 s\""),
    ("hold = \"20 s\"", "hold = \"2 s\""),
    ("rest = \"40 s\"", "rest = \"4 s\""),
    ("hold = \"10 min\"", "hold = \"1 min\""),
];

/// Writes rig file and procedure of a seed into a folder.
///
/// # Errors
/// In words: files that cannot be read or written, or do not say what is changed here.
pub(super) fn in_folder(scene: &Scene, folder: &Path) -> Result<[PathBuf; 2], String> {
    let unit = format!("{}.toml", scene.wheelbase.word());
    let rig = read(&format!("rigs/{unit}"))?;
    let mut procedure = read("procedures/heat.toml")?;
    for (before, after) in TIMES {
        if procedure.matches(before).count() != 1 {
            return Err(format!("procedures/heat.toml does not say {before} once"));
        }
        procedure = procedure.replace(before, after);
    }
    Ok([
        written(folder, &unit, &a_tenth(&rig)?)?,
        written(folder, "heat.toml", &procedure)?,
    ])
}

/// A rig file with a tenth of each heat capacity.
fn a_tenth(rig: &str) -> Result<String, String> {
    let mut changed = 0;
    let lines = rig.lines().map(|line| {
        let (head, rest) = line.split_once('"').unwrap_or((line, ""));
        match rest.split_once(" J/K\"") {
            Some((number, tail)) => {
                changed += 1;
                let value: f64 = number.parse().map_err(|e| format!("{line}: {e}"))?;
                Ok(format!("{head}\"{} J/K\"{tail}\n", SHARE * value))
            }
            None => Ok(format!("{line}\n")),
        }
    });
    let text = lines.collect::<Result<String, String>>()?;
    if changed == 2 {
        Ok(text)
    } else {
        Err(format!("the rig file has {changed} heat capacities, not two"))
    }
}
