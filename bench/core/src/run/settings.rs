//! What a run sends to the rig as limits, and what it holds itself to.

use rig_link::message::{Configuration, WindowReference};

use super::outcome::Failure;
use crate::interlock::{FollowLimits, JudgeLimits};
use crate::rig::{Mounting, Rig, WindowFrom};

/// How a run deals with time. The defaults suit a general-purpose kernel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RunOptions {
    /// Setpoints are sent this far ahead, µs.
    pub lead_us: u64,
    /// Longest silence of the sample stream, and greatest age of a sample on arrival, while armed, µs.
    pub stale_us: u64,
    /// Latest wake after a deadline of the bench's own while armed, µs.
    pub slack_us: u64,
    /// Whether to prove stop and watchdog at zero torque before the plan is played.
    pub prove: bool,
}

impl Default for RunOptions {
    fn default() -> Self {
        Self {
            lead_us: 40_000,
            stale_us: 30_000,
            slack_us: 15_000,
            prove: true,
        }
    }
}

/// The interlock's limits for a rig.
pub(super) fn judge_limits(rig: &Rig) -> JudgeLimits {
    let limits = &rig.limits;
    // Only a rim that is held shows the torque that was asked for.
    let follow = (rig.mounting == Mounting::Clamped).then_some(FollowLimits {
        difference_nm: 0.15 * limits.torque_nm,
        share: 0.25,
        stuck_nm: 0.1 * limits.torque_nm,
    });
    JudgeLimits {
        torque_nm: limits.torque_nm,
        sensor_torque_nm: limits.sensor_torque_nm,
        rim_speed_rad_s: limits.rim_speed_rad_s,
        rim_window_rad: limits.rim_window_rad,
        temperature_degc: limits.temperature_degc,
        zero_speed_rad_s: 0.05 * limits.rim_speed_rad_s,
        zero_settle_us: 400_000,
        follow,
    }
}

/// The configuration for a rig whose setpoints are fractions of `full_scale_nm`. Every limit is rounded to the tighter
/// side.
pub(super) fn configuration(
    rig: &Rig,
    sample_period_us: u32,
    full_scale_nm: f64,
) -> Result<Configuration, Failure> {
    let limits = &rig.limits;
    if full_scale_nm < limits.torque_nm {
        return Err(Failure::FullScale {
            rig_nm: full_scale_nm,
            needed_nm: limits.torque_nm,
        });
    }
    let counts_per_nm = f64::from(rig_link::FULL_SCALE_COUNTS) / full_scale_nm;
    let [low, high] = limits.rim_window_rad;
    // `as` saturates; all values are positive and finite by the rig file's ranges.
    Ok(Configuration {
        sample_period_us,
        torque_limit_raw: libm::floor(limits.torque_nm * counts_per_nm) as u16,
        slew_limit_raw_per_ms: (libm::floor(limits.slew_nm_per_s * 1e-3 * counts_per_nm) as u16).max(1),
        rim_speed_limit_mrad_s: (libm::floor(limits.rim_speed_rad_s * 1e3) as u32).max(1),
        window_low_urad: libm::ceil(low * 1e6) as i32,
        window_high_urad: libm::floor(high * 1e6) as i32,
        window_reference: match limits.rim_window_from {
            WindowFrom::Arming => WindowReference::Arming,
            WindowFrom::Zero => WindowReference::Zero,
        },
        sensor_torque_limit_mnm: (libm::floor(limits.sensor_torque_nm * 1e3) as u32).max(1),
        temperature_limit_cdeg: libm::floor(limits.temperature_degc * 1e2) as i16,
        watchdog_us: limits.watchdog_us,
        setpoint_expiry_us: limits.setpoint_expiry_us,
        stop_mode: limits.stop,
        brake_us: limits.brake_us,
    })
}

/// Checks that nothing was applied wider than asked for.
pub(super) fn check_applied(asked: &Configuration, applied: &Configuration) -> Result<(), Failure> {
    let not_above = |field, asked: i64, applied: i64| {
        if applied <= asked {
            Ok(())
        } else {
            Err(Failure::Configuration {
                field,
                asked,
                applied,
            })
        }
    };
    not_above(
        "torque limit",
        asked.torque_limit_raw.into(),
        applied.torque_limit_raw.into(),
    )?;
    not_above(
        "slew limit",
        asked.slew_limit_raw_per_ms.into(),
        applied.slew_limit_raw_per_ms.into(),
    )?;
    not_above(
        "rim speed limit",
        asked.rim_speed_limit_mrad_s.into(),
        applied.rim_speed_limit_mrad_s.into(),
    )?;
    not_above(
        "window's upper end",
        asked.window_high_urad.into(),
        applied.window_high_urad.into(),
    )?;
    not_above(
        "sensor torque limit",
        asked.sensor_torque_limit_mnm.into(),
        applied.sensor_torque_limit_mnm.into(),
    )?;
    not_above(
        "temperature limit",
        asked.temperature_limit_cdeg.into(),
        applied.temperature_limit_cdeg.into(),
    )?;
    not_above("watchdog", asked.watchdog_us.into(), applied.watchdog_us.into())?;
    not_above(
        "setpoint expiry",
        asked.setpoint_expiry_us.into(),
        applied.setpoint_expiry_us.into(),
    )?;
    if applied.window_low_urad < asked.window_low_urad {
        return Err(Failure::Configuration {
            field: "window's lower end",
            asked: asked.window_low_urad.into(),
            applied: applied.window_low_urad.into(),
        });
    }
    if applied.window_reference != asked.window_reference {
        return Err(Failure::Configuration {
            field: "window reference",
            asked: 0,
            applied: 1,
        });
    }
    // The plan's times and the fits rest on the sample period: another one is another measurement.
    if applied.sample_period_us != asked.sample_period_us {
        return Err(Failure::Configuration {
            field: "sample period",
            asked: asked.sample_period_us.into(),
            applied: applied.sample_period_us.into(),
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use alloc::format;

    use super::{RunOptions, judge_limits};
    use crate::interlock::Condition::{
        DeadlineMissed, MotionAtZero, RimSpeed, SensorStuck, StaleSamples, TorqueAstray, Watchdog,
    };
    use crate::interlock::following::{AVERAGED_US, STUCK_US};
    use crate::interlock::judge::{SLOW_US, SPEED_US};
    use crate::rig::Rig;

    #[test]
    fn what_the_documents_say_of_conditions_is_what_is_in_force() {
        let rig = Rig::from_toml("rig.toml", include_str!("../../tests/fixtures/rig.toml")).unwrap();
        let (limits, options) = (judge_limits(&rig), RunOptions::default());
        let follow = limits.follow.unwrap();
        let percent = |share: f64| format!("{:.0} %", share * 100.0);
        let ms = |us: u64| format!("{} ms", us / 1_000);
        let torque_nm = rig.limits.torque_nm;
        let zero_speed = percent(limits.zero_speed_rad_s / rig.limits.rim_speed_rad_s);
        for (condition, place, number) in [
            (RimSpeed, 0, ms(SPEED_US)),
            (MotionAtZero, 0, ms(SLOW_US)),
            (MotionAtZero, 0, zero_speed),
            (
                MotionAtZero,
                1,
                format!("{} s", limits.zero_settle_us as f64 / 1e6),
            ),
            (TorqueAstray, 0, percent(follow.difference_nm / torque_nm)),
            (TorqueAstray, 0, percent(follow.share)),
            (TorqueAstray, 1, format!("{} s", AVERAGED_US / 1e6)),
            (SensorStuck, 0, percent(follow.stuck_nm / torque_nm)),
            (SensorStuck, 1, ms(STUCK_US)),
            (StaleSamples, 1, ms(options.stale_us)),
            (Watchdog, 1, ms(options.stale_us)),
            (DeadlineMissed, 1, ms(options.slack_us)),
        ] {
            let text = condition.terms()[place];
            assert!(
                text.contains(&number),
                "{}: {text:?} does not say {number}",
                condition.name()
            );
        }
    }
}
