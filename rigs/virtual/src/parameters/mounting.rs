//! `[virtual.mounting]` and `[virtual.mountings.*]`: what the rim is fastened to.
//!
//! The springs between hub and far side are the rig's, whatever the far side is. Which of the far sides that are
//! described is there now, `rig.mounting` says, unless the caller asks for another one.

use settings_file::{Acceleration, Angle, Damping, Inertia, Section, Speed, Stiffness, Time, Torque};

use crate::plant::{FarSide, MountingParameters, TurningParameters};

/// Most legs of a script.
const LEGS: usize = 32;

/// How the rim is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mounting {
    /// To the torque sensor and ground.
    Clamped,
    /// Turning freely with a disc of known inertia.
    Free,
    /// Turned through the sensor by a drive.
    BackDriven,
}

impl Mounting {
    /// Every mounting with its word in rig files.
    pub const WORDS: [(&'static str, Self); 3] = [
        ("clamped", Self::Clamped),
        ("free", Self::Free),
        ("back-driven", Self::BackDriven),
    ];

    /// The mounting of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        let named = Self::WORDS.iter().find(|(known, _)| *known == word);
        named.map(|(_, mounting)| *mounting)
    }

    /// Its word in rig files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Clamped => "clamped",
            Self::Free => "free",
            Self::BackDriven => "back-driven",
        }
    }
}

/// The springs, and the far side of the mounting in force. The other far sides are read as well, so that what is wrong
/// in them is found before somebody mounts the rim so.
pub(super) fn read(table: &Section<'_>, in_force: Mounting) -> MountingParameters {
    let springs = table.section("mounting");
    let mountings = table.section("mountings");
    let mut chosen = None;
    for (word, mounting) in Mounting::WORDS {
        let far_side = mountings
            .optional_section(word)
            .map(|own| far_side(mounting, &own));
        if mounting == in_force {
            chosen = far_side;
        }
    }
    if chosen.is_none() && mountings.is_present() {
        let known = Mounting::WORDS
            .map(|(word, _)| word)
            .into_iter()
            .filter(|word| mountings.has(word));
        mountings.report(
            in_force.word(),
            "the mounting in force is not described",
            Some(known.collect::<Vec<_>>().join(", ")),
            format!(
                "add [virtual.mountings.{}], or take one that is described",
                in_force.word()
            ),
        );
    }
    MountingParameters {
        sensor_nm_per_rad: springs.quantity::<Stiffness>("sensor_stiffness", 100.0..=1e6),
        fixture_nm_per_rad: springs.quantity::<Stiffness>("fixture_stiffness", 100.0..=1e6),
        damping_nm_s_per_rad: springs.quantity::<Damping>("damping", 0.0..=50.0),
        far_side: chosen.unwrap_or(FarSide::Ground {
            holding_nm: f64::INFINITY,
        }),
    }
}

fn far_side(mounting: Mounting, table: &Section<'_>) -> FarSide {
    match mounting {
        Mounting::Clamped => FarSide::Ground {
            holding_nm: table.quantity::<Torque>("clamp_holds", 0.1..=1000.0),
        },
        Mounting::Free => FarSide::Disc {
            inertia_kg_m2: table.quantity::<Inertia>("disc", 1e-5..=1.0),
        },
        Mounting::BackDriven => FarSide::Drive(turning(table)),
    }
}

fn turning(table: &Section<'_>) -> TurningParameters {
    let speeds = table.quantities::<Speed>("speeds", -60.0..=60.0, 1..=LEGS);
    let angles = if table.has("angles") {
        table.quantities::<Angle>("angles", 1e-3..=60.0, speeds.len()..=speeds.len())
    } else {
        vec![table.quantity::<Angle>("angle", 1e-3..=60.0); speeds.len()]
    };
    let turning = TurningParameters {
        start_s: table.quantity_or::<Time>("start", 0.0..=3600.0, 0.0),
        speeds_rad_s: speeds,
        angles_rad: angles,
        acceleration_rad_s2: table.quantity::<Acceleration>("acceleration", 0.01..=1e4),
        pause_s: table.quantity_or::<Time>("pause", 0.0..=600.0, 0.0),
        repeats: table.boolean_or("repeats", false),
    };
    if turning.speeds_rad_s.iter().any(|v| v.abs() < 1e-4) {
        table.report(
            "speeds",
            "a leg slower than 0.0001 rad/s never ends",
            None,
            "rest with `pause` instead",
        );
    }
    let needs = |speed: f64| speed * speed / turning.acceleration_rad_s2;
    if let Some((speed, _)) = turning.legs().find(|(speed, angle)| *angle < needs(*speed)) {
        let (speed, needs) = (speed.abs(), needs(speed).to_degrees());
        let key = if table.has("angles") { "angles" } else { "angle" };
        table.report(
            key,
            format!(
                "too short: {speed} rad/s is only reached and left again within {needs:.3} deg at this acceleration"
            ),
            Some(format!("{needs:.3} deg or more")),
            format!("raise `{key}` or `acceleration`, or lower the greatest of `speeds`"),
        );
    }
    turning
}
