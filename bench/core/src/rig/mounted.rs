//! `[rig.mountings.*]`: what holds of each way in which this rig's rim can be held.

use alloc::{format, vec::Vec};
use settings_file::{Acceleration, Angle, Inertia, Section, Speed, Torque, write_number};

use super::read::MOST_TORQUE_NM;
use super::{Limits, Mounting, Rig, WindowFrom};
use crate::units::show_nm;

/// Widest rim window with a clamped rim, rad (20°); a clamped rim that moves further has come loose.
const WIDEST_CLAMPED_RAD: f64 = 0.35;

/// What the rim is fastened to.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum FarSide {
    /// The torque sensor, the fixture and ground.
    Ground,
    /// A disc that turns freely.
    Disc {
        /// Its inertia with all that turns with it beyond the torque sensor, kg·m².
        inertia_kg_m2: f64,
        /// Standard uncertainty of the inertia, kg·m².
        uncertainty_kg_m2: f64,
    },
    /// A drive that turns the rim through the torque sensor.
    Drive {
        /// Its greatest speed either way, rad/s.
        speed_rad_s: f64,
        /// Its greatest acceleration, rad/s².
        acceleration_rad_s2: f64,
    },
}

/// One mounting with its own limits.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Mounted {
    /// Which.
    pub mounting: Mounting,
    /// Greatest setpoint either way, N·m, where it is tighter than the rig's.
    pub torque_nm: Option<f64>,
    /// Rim speed either way beyond which the rig trips, rad/s; 0.1 to 60.
    pub rim_speed_rad_s: f64,
    /// Rim angles `[low, high]` outside which the rig trips, rad.
    pub rim_window_rad: [f64; 2],
    /// From which angle the window is counted.
    pub rim_window_from: WindowFrom,
    /// The window of procedures that bring a free rim to its end stops, rad, in place of the other; `None` where none may.
    pub travel_window_rad: Option<[f64; 2]>,
    /// What the rim is fastened to.
    pub far_side: FarSide,
}

impl Mounted {
    /// Puts this mounting's limits in force.
    pub(super) fn apply(&self, limits: &mut Limits) {
        limits.torque_nm = self.torque_nm.unwrap_or(limits.torque_nm);
        limits.rim_speed_rad_s = self.rim_speed_rad_s;
        limits.rim_window_rad = self.rim_window_rad;
        limits.rim_window_from = self.rim_window_from;
    }
}

/// Every mounting that `[rig.mountings]` describes; one that is not there is no finding here.
pub(super) fn read(table: &Section<'_>) -> Vec<Mounted> {
    Mounting::WORDS
        .iter()
        .filter_map(|&(word, mounting)| Some(one(mounting, &table.optional_section(word)?)))
        .collect()
}

fn one(mounting: Mounting, s: &Section<'_>) -> Mounted {
    Mounted {
        mounting,
        torque_nm: s.optional_quantity::<Torque>("torque", 0.05..=MOST_TORQUE_NM),
        rim_speed_rad_s: s.quantity::<Speed>("rim_speed", 0.1..=60.0),
        rim_window_rad: s.pair::<Angle>("rim_window", -60.0..=60.0),
        rim_window_from: s.choice_or("rim_window_from", WindowFrom::WORDS, WindowFrom::Arming),
        travel_window_rad: (mounting == Mounting::Free && s.has("travel_window"))
            .then(|| s.pair::<Angle>("travel_window", -60.0..=60.0)),
        far_side: match mounting {
            Mounting::Clamped => FarSide::Ground,
            Mounting::Free => FarSide::Disc {
                inertia_kg_m2: s.quantity::<Inertia>("disc", 1e-5..=1.0),
                uncertainty_kg_m2: s.quantity::<Inertia>("disc_uncertainty", 0.0..=0.1),
            },
            Mounting::BackDriven => FarSide::Drive {
                speed_rad_s: s.quantity::<Speed>("drive_speed", 0.01..=60.0),
                acceleration_rad_s2: s.quantity::<Acceleration>("drive_acceleration", 0.01..=1e4),
            },
        },
    }
}

/// Checks a mounting against the rest of the rig.
pub(super) fn contradictions(rig: &Rig, mounted: &Mounted, rig_torque_nm: f64, s: &Section<'_>) {
    if let Some(torque_nm) = mounted.torque_nm.filter(|nm| *nm > rig_torque_nm) {
        let problem = format!("{} is wider than rig.limits.torque", show_nm(torque_nm));
        let allowed = Some(format!("at most {}", show_nm(rig_torque_nm)));
        s.report("torque", problem, allowed, "lower it, or remove it");
    }
    let [low, high] = mounted.rim_window_rad;
    if mounted.rim_window_from == WindowFrom::Arming && (low >= 0.0 || high <= 0.0) {
        let fix = "the window is counted from the rim's place at arming, so it must span 0";
        s.report(
            "rim_window",
            "does not hold the angle it is counted from",
            None,
            fix,
        );
        return;
    }
    if mounted
        .travel_window_rad
        .is_some_and(|[from, to]| from > low || to < high)
    {
        let degrees = |rad: f64| write_number(rad.to_degrees());
        s.report(
            "travel_window",
            "narrower than rim_window, which holds a rim that stays off its end stops",
            Some(format!(
                "from {} or less to {} deg or more",
                degrees(low),
                degrees(high)
            )),
            "widen it beyond the travel, or remove it: end stops are then not approached",
        );
    }
    match mounted.far_side {
        FarSide::Ground => clamped(rig, mounted, s),
        FarSide::Disc {
            inertia_kg_m2,
            uncertainty_kg_m2,
        } if uncertainty_kg_m2 > 0.5 * inertia_kg_m2 => {
            let problem = "an inertia that is as good as unknown";
            let fix = "weigh and measure the disc, or let it swing; less than half its inertia is expected";
            s.report("disc_uncertainty", problem, None, fix);
        }
        FarSide::Drive { speed_rad_s, .. } if speed_rad_s >= mounted.rim_speed_rad_s => {
            let allowed = Some(format!("below {} rad/s", write_number(mounted.rim_speed_rad_s)));
            let fix = "lower it, or raise rim_speed above it";
            s.report(
                "drive_speed",
                "reaches rim_speed, so the rig would trip in use",
                allowed,
                fix,
            );
        }
        FarSide::Disc { .. } | FarSide::Drive { .. } => {}
    }
}

/// A clamped rim's window has to hold what the rig gives by itself, and little more.
fn clamped(rig: &Rig, mounted: &Mounted, s: &Section<'_>) {
    let [low, high] = mounted.rim_window_rad;
    let degrees = |rad: f64| write_number(rad.to_degrees());
    if high - low > 2.0 * WIDEST_CLAMPED_RAD {
        let allowed = Some(format!(
            "at most {} deg from end to end",
            degrees(2.0 * WIDEST_CLAMPED_RAD)
        ));
        s.report(
            "rim_window",
            "too wide for a clamped rim",
            allowed,
            "narrow it; it is there to catch a slip",
        );
    }
    let give_rad = rig.limits.sensor_torque_nm / rig.stiffness_nm_per_rad();
    if mounted.rim_window_from == WindowFrom::Arming && give_rad >= high.min(-low) {
        let problem = format!(
            "narrower than the {} deg that sensor and fixture give at {}",
            degrees(give_rad),
            show_nm(rig.limits.sensor_torque_nm)
        );
        s.report(
            "rim_window",
            problem,
            None,
            "widen it, or lower rig.limits.sensor_torque",
        );
    }
}
