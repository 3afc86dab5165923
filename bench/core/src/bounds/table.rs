//! Each limit in words: what is in force, on which side, after how long, and how it follows.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use super::margins::{
    CLAMPED_SLACK_RAD, DRIVE_MARGIN, EXPIRY_GAPS, FREE_SLACK, GAIN, HIGHEST_MODE_HZ, NOISE, OUTSIDE,
    OUTSIDE_NM, OUTSIDE_SHARE, OVERSHOOT, RESONANCE, SPEED_SLACK_RAD_S, STIFFNESS_ERROR, WINDOW_SLACK_RAD,
    ZERO_SPEED,
};
use super::{Bounds, friction_share};
use crate::interlock::{Condition, ENDINGS, MotionLimits, RimStuckLimits};
use crate::rig::{FarSide, Rig, WindowFrom};
use crate::run::{CLOCK_LIMIT_PPM, RunOptions};
use crate::units::{show_nm, show_slew};

/// Who enforces a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// The bench's interlock.
    Bench,
    /// The rig controller alone.
    Rig,
    /// Both, each by itself.
    Both,
}

impl Sides {
    /// For people.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bench => "bench",
            Self::Rig => "rig",
            Self::Both => "rig, bench",
        }
    }
}

/// One limit, or one way to end.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Name of the condition, or of what is limited.
    pub name: &'static str,
    /// The limit in force.
    pub limit: String,
    /// Who enforces it.
    pub sides: Sides,
    /// On which mountings it applies.
    pub mounting: &'static str,
    /// For how long it must be broken.
    pub after: &'static str,
    /// How it follows, with numbers.
    pub derivation: String,
}

/// A number with few digits.
fn short(value: f64) -> String {
    if value.abs() >= 1e3 {
        return format!("{value:.0}");
    }
    let digits = if value.abs() >= 10.0 { 1 } else { 3 };
    settings_file::write_number(
        libm::round(value * libm::pow(10.0, f64::from(digits))) / libm::pow(10.0, f64::from(digits)),
    )
}

fn nm(torque_nm: f64) -> String {
    format!("{} N·m", short(torque_nm))
}

fn degrees(rad: f64) -> String {
    format!("{} deg", short(rad.to_degrees()))
}

fn per_cent(share: f64) -> String {
    format!("{} %", short(share * 100.0))
}

impl Bounds {
    /// Every limit in force on `rig`, conditions first, then what bounds setpoints, then the other ways to end.
    #[must_use]
    pub fn table(&self, rig: &Rig, options: &RunOptions) -> Vec<Row> {
        let conditions = Condition::ALL.into_iter().map(|condition| {
            let [_, after, mounting] = condition.terms();
            let (limit, derivation) = self.words(condition, rig, options);
            Row {
                name: condition.name(),
                limit,
                sides: sides(condition),
                mounting,
                after,
                derivation,
            }
        });
        let endings = ENDINGS.into_iter().map(|[name, what, after, mounting]| Row {
            name,
            limit: "–".to_string(),
            sides: Sides::Bench,
            mounting,
            after,
            derivation: what.to_string(),
        });
        conditions.chain(self.setpoints()).chain(endings).collect()
    }

    /// The tighter of what the plan needs and what is allowed, in words.
    fn tighter(&self, need: f64, allowed: f64, derivation: &str, allowed_text: &str) -> String {
        if self.need == super::Need::default() {
            return format!("no plan; allowed: {allowed_text}");
        }
        let whose = if need < allowed {
            "the plan's"
        } else {
            "the allowed one"
        };
        format!("{derivation}; allowed: {allowed_text}; in force: {whose}")
    }

    fn setpoints(&self) -> [Row; 4] {
        let (limits, allowed, need) = (&self.limits, &self.allowed, &self.need);
        let row = |name, limit, sides, derivation| Row {
            name,
            limit,
            sides,
            mounting: "every",
            after: "each setpoint",
            derivation,
        };
        let peak = format!("greatest setpoint of the plan {}", nm(need.peak_nm));
        let change = format!(
            "greatest change within one stride, of a curve within a tenth of it, {}, and a tenth",
            show_slew(libm::round(need.change_nm_per_s))
        );
        let ms = |us: u32| format!("{} ms", short(f64::from(us) * 1e-3));
        let gap = format!("{EXPIRY_GAPS} times the longest time between two setpoints of the plan");
        let expiry = (EXPIRY_GAPS * need.gap_us) as f64;
        [
            row(
                "setpoint",
                nm(limits.torque_nm),
                Sides::Both,
                self.tighter(
                    need.peak_nm,
                    allowed.torque_nm,
                    &peak,
                    &show_nm(allowed.torque_nm),
                ),
            ),
            row(
                "slew",
                show_slew(libm::round(limits.slew_nm_per_s)),
                Sides::Rig,
                self.tighter(
                    limits.slew_nm_per_s,
                    allowed.slew_nm_per_s,
                    &change,
                    &show_slew(allowed.slew_nm_per_s),
                ),
            ),
            row(
                "setpoint expiry",
                ms(limits.setpoint_expiry_us),
                Sides::Rig,
                self.tighter(
                    expiry,
                    f64::from(allowed.setpoint_expiry_us),
                    &gap,
                    &ms(allowed.setpoint_expiry_us),
                ),
            ),
            row(
                "rig's watchdog",
                ms(limits.watchdog_us),
                Sides::Rig,
                "rig.limits.watchdog; the bench sends a keep-alive in a quarter of it".to_string(),
            ),
        ]
    }

    /// The limit of a condition, and how it follows.
    fn words(&self, condition: Condition, rig: &Rig, options: &RunOptions) -> (String, String) {
        let ms = |us: u64| format!("{} ms", short(us as f64 * 1e-3));
        let none = || ("–".to_string(), String::new());
        match condition {
            Condition::RimWindow => self.window(rig),
            Condition::RimSpeed => self.speed(rig),
            Condition::RimAcceleration => self.acceleration(rig),
            Condition::MotionUnexplained | Condition::MotionUnexpected | Condition::MotionAtZero => {
                self.motion(condition, rig)
            }
            Condition::SensorTorque => self.sensor_torque(rig),
            Condition::TorqueAstray
            | Condition::TorqueUnasked
            | Condition::TorqueUnaccounted
            | Condition::TorqueLeap
            | Condition::SensorStuck
            | Condition::RimStuck => self.torque(condition, rig),
            Condition::RotorAstray => match self.judge.rotor {
                Some(rotor) => (
                    degrees(rotor.lost_motion_rad),
                    format!("rig.wheelbase.lost_motion, at a ratio of {}", short(rotor.ratio)),
                ),
                None => ("–".to_string(), "no rig.wheelbase.ratio: not compared".to_string()),
            },
            Condition::Temperature => (
                format!("{} degC", short(self.limits.temperature_degc)),
                "the tighter of rig.limits.temperature and the procedure's; a plan's own heat is not foretold".to_string(),
            ),
            Condition::Supply => {
                let [low, high] = self.limits.supply_v;
                (format!("{} to {} V", short(low), short(high)), "rig.limits.supply".to_string())
            }
            Condition::StaleSamples | Condition::Watchdog => (
                ms(options.stale_us),
                "the bench's: longer than the delays of a busy host, shorter than what a held torque may last".to_string(),
            ),
            Condition::ClockDrift => (
                format!("{} %", short(CLOCK_LIMIT_PPM * 1e-4)),
                "the bench's: twice and more what a crystal is off, a fraction of what other oscillators are".to_string(),
            ),
            Condition::DeadlineMissed => (
                ms(options.slack_us),
                "the bench's: less than the rig's watchdog, so that it is named before the rig stops".to_string(),
            ),
            Condition::WrongSign | Condition::WrongGain => (
                "–".to_string(),
                "the procedure's [approach]: level and gain range".to_string(),
            ),
            Condition::Saturated
            | Condition::TorqueMissing
            | Condition::NotFinite
            | Condition::SequenceGap
            | Condition::ClockJump
            | Condition::RecordingStalled
            | Condition::EmergencyStop
            | Condition::RigStopped
            | Condition::Rebooted
            | Condition::Underrun
            | Condition::SetpointsLost => none(),
        }
    }

    fn sensor_torque(&self, rig: &Rig) -> (String, String) {
        let limit = self.limits.sensor_torque_nm;
        let derived = self.derived(rig);
        let need = derived.measured_nm();
        let derivation = format!(
            "{GAIN} (gain) × {} to which the plan rings ({} of each jump, {RESONANCE} times an oscillation) + {} friction \
             + {} zero = {}",
            nm(self.need.rings_to_nm),
            per_cent(OVERSHOOT),
            nm(derived.friction_nm()),
            nm(derived.zero_nm()),
            nm(need)
        );
        let allowed = self.allowed.sensor_torque_nm;
        (nm(limit), self.tighter(need, allowed, &derivation, &nm(allowed)))
    }

    fn window(&self, rig: &Rig) -> (String, String) {
        let range = |[low, high]: [f64; 2]| format!("{} to {}", degrees(low), degrees(high));
        let (now, allowed) = (self.limits.rim_window_rad, self.allowed.rim_window_rad);
        let derivation = match rig.far_side {
            FarSide::Ground => format!(
                "{STIFFNESS_ERROR} × {} over {} N·m/rad + {}",
                nm(self.limits.sensor_torque_nm),
                short(rig.stiffness_nm_per_rad()),
                degrees(WINDOW_SLACK_RAD)
            ),
            FarSide::Disc { .. } => {
                "what the plan's pushes turn the bare disc by, without friction".to_string()
            }
            FarSide::Drive { .. } => "a drive's travel is not foretold".to_string(),
        };
        let derivation = match self.limits.rim_window_from {
            WindowFrom::Arming => derivation,
            WindowFrom::Zero => "counted from the encoder's zero, so not tightened".to_string(),
        };
        let width = |[low, high]: [f64; 2]| high - low;
        let (need, most) = (width(now), width(allowed));
        (range(now), self.tighter(need, most, &derivation, &range(allowed)))
    }

    fn speed(&self, rig: &Rig) -> (String, String) {
        let give = self.derived(rig).give_rad(self.limits.sensor_torque_nm);
        let ringing = format!("2π·{} Hz × the give of {}", short(HIGHEST_MODE_HZ), degrees(give));
        let [low, high] = self.need.impulse_nm_s;
        let derivation = match rig.far_side {
            FarSide::Ground => format!("{ringing} + {} rad/s", short(SPEED_SLACK_RAD_S)),
            FarSide::Disc { inertia_kg_m2, .. } => format!(
                "{GAIN} × greatest push {} N·m·s over the least inertia (disc {} kg·m² less twice its uncertainty) + {}",
                short(high.max(-low)),
                settings_file::write_number(inertia_kg_m2),
                per_cent(FREE_SLACK)
            ),
            FarSide::Drive { speed_rad_s, .. } => {
                format!(
                    "{DRIVE_MARGIN} × the drive's {} rad/s + {ringing}",
                    short(speed_rad_s)
                )
            }
        };
        let (now, allowed) = (self.limits.rim_speed_rad_s, self.allowed.rim_speed_rad_s);
        let text = format!("{} rad/s", short(now));
        (
            text,
            self.tighter(now, allowed, &derivation, &format!("{} rad/s", short(allowed))),
        )
    }

    fn acceleration(&self, rig: &Rig) -> (String, String) {
        let swing = "a swing by the give of sensor and fixture shows at most 4 × give/(8 ms)²";
        let derivation = match rig.far_side {
            FarSide::Ground => swing.to_string(),
            FarSide::Disc { .. } => format!(
                "twice ({GAIN} × {} + {} friction and cogging) over the least inertia",
                nm(self.limits.torque_nm),
                nm(self.derived(rig).friction_nm())
            ),
            FarSide::Drive {
                acceleration_rad_s2, ..
            } => format!(
                "{DRIVE_MARGIN} × the drive's {} rad/s²; {swing}",
                short(acceleration_rad_s2)
            ),
        };
        let declared = match self.limits.rim_acceleration_rad_s2 {
            Some(declared) => format!("; rig.limits.rim_acceleration: {} rad/s²", short(declared)),
            None => String::new(),
        };
        (
            format!("{} rad/s²", short(self.judge.rim_acceleration_rad_s2)),
            format!("{derivation}{declared}"),
        )
    }

    fn motion(&self, condition: Condition, rig: &Rig) -> (String, String) {
        let other = || ("–".to_string(), "another mounting's".to_string());
        let share_of = |share: f64| {
            format!(
                "{} of the rig's {} rad/s",
                per_cent(share),
                short(rig.limits.rim_speed_rad_s)
            )
        };
        match (condition, self.judge.motion) {
            (Condition::MotionUnexplained, MotionLimits::Clamped { unexplained_rad, .. }) => (
                degrees(unexplained_rad),
                format!(
                    "{} of {} over {} N·m/rad (its error, the sensor's delay) + {}",
                    per_cent(STIFFNESS_ERROR - 1.0),
                    nm(self.limits.sensor_torque_nm),
                    short(rig.stiffness_nm_per_rad()),
                    degrees(CLAMPED_SLACK_RAD)
                ),
            ),
            (Condition::MotionAtZero, MotionLimits::Clamped { zero_speed_rad_s, .. }) => {
                (format!("{} rad/s", short(zero_speed_rad_s)), share_of(ZERO_SPEED))
            }
            (Condition::MotionAtZero, MotionLimits::Free { zero_rise_rad_s, .. }) => (
                format!("{} rad/s more than before", short(zero_rise_rad_s)),
                share_of(ZERO_SPEED),
            ),
            (
                Condition::MotionUnexpected,
                MotionLimits::Free {
                    slack_rad_s,
                    inertia_kg_m2,
                    gain,
                    ..
                },
            ) => (
                format!("{} rad/s above the model", short(slack_rad_s)),
                format!(
                    "model: {gain} × setpoints of the last 20 to 40 ms over {} kg·m²; slack: {}",
                    settings_file::write_number(inertia_kg_m2),
                    share_of(FREE_SLACK)
                ),
            ),
            (Condition::MotionUnexpected, MotionLimits::BackDriven { speed_rad_s }) => (
                format!("{} rad/s", short(speed_rad_s)),
                format!(
                    "{DRIVE_MARGIN} × the drive's speed + twice the give of sensor and fixture over 16 ms"
                ),
            ),
            _ => other(),
        }
    }

    fn torque(&self, condition: Condition, rig: &Rig) -> (String, String) {
        let judge = &self.judge;
        let peak = nm(rig.wheelbase.peak_torque_nm);
        match condition {
            Condition::TorqueAstray => match judge.follow {
                Some(follow) => (
                    format!(
                        "{} + {} of the setpoint",
                        nm(follow.difference_nm),
                        per_cent(follow.share)
                    ),
                    format!(
                        "{} of the peak torque {peak} for friction; gain",
                        per_cent(friction_share(rig))
                    ),
                ),
                None => ("–".to_string(), "another mounting's".to_string()),
            },
            Condition::TorqueUnasked => (
                nm(judge.unasked_nm),
                if self.need.at_stops {
                    "the limit of measured torque: end stops push back at setpoint zero".to_string()
                } else {
                    format!(
                        "{} of the peak torque {peak} for friction and cogging",
                        per_cent(friction_share(rig))
                    )
                },
            ),
            Condition::TorqueUnaccounted => match judge.disc {
                Some(disc) => (
                    format!(
                        "{} + {} of the measured",
                        nm(disc.outside_nm),
                        per_cent(disc.share)
                    ),
                    format!(
                        "{} of the peak torque {peak} and {} for bearing and imbalance; {} and twice the disc's relative \
                         uncertainty for gain and inertia",
                        per_cent(OUTSIDE),
                        nm(OUTSIDE_NM),
                        per_cent(OUTSIDE_SHARE)
                    ),
                ),
                None => ("–".to_string(), "another mounting's".to_string()),
            },
            Condition::TorqueLeap => (
                format!(
                    "{} + {}",
                    show_slew(libm::round(judge.leap.rate_nm_per_s)),
                    nm(judge.leap.noise_nm)
                ),
                format!(
                    "2π·{} Hz × {} + the wheelbase's slew; {} of the sensor's range",
                    short(HIGHEST_MODE_HZ),
                    nm(judge.sensor_torque_nm),
                    per_cent(NOISE)
                ),
            ),
            Condition::SensorStuck if judge.stuck_nm.is_finite() => (
                nm(judge.stuck_nm),
                format!("a tenth of the greatest setpoint {}", nm(judge.torque_nm)),
            ),
            Condition::RimStuck => match judge.rim_stuck {
                RimStuckLimits::Held { change_nm, .. } => (
                    format!("{} + 4 steps", nm(change_nm)),
                    format!(
                        "5 % of the peak torque {peak}; steps of the rim encoder times the rig's stiffness"
                    ),
                ),
                RimStuckLimits::Free { torque_nm } => {
                    (nm(torque_nm), format!("5 % of the peak torque {peak}"))
                }
            },
            _ => ("–".to_string(), String::new()),
        }
    }
}

/// Who enforces a condition.
const fn sides(condition: Condition) -> Sides {
    match condition {
        Condition::RimWindow
        | Condition::RimSpeed
        | Condition::SensorTorque
        | Condition::Temperature
        | Condition::Supply
        | Condition::Saturated => Sides::Both,
        _ => Sides::Bench,
    }
}
