//! What a run sends to the rig as limits, and what it holds itself to.

use rig_link::message::{Configuration, WindowReference};

use super::outcome::Failure;
use crate::bounds::Bounds;
use crate::rig::WindowFrom;

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

/// What a number of counts may be off by its computation.
const ROUNDING_RAW: f64 = 1e-6;
/// Greatest slew that is a limit: one more count stands for none.
const MOST_SLEW_RAW: f64 = 65_534.0;

/// The configuration for a rig whose setpoints are fractions of `full_scale_nm`. Every limit is rounded to the tighter
/// side; that of torque to the next count above the plan's peak, where the rig allows it.
pub(super) fn configuration(
    bounds: &Bounds,
    sample_period_us: u32,
    full_scale_nm: f64,
) -> Result<Configuration, Failure> {
    let (limits, allowed_nm) = (&bounds.limits, bounds.allowed.torque_nm);
    if full_scale_nm < allowed_nm {
        return Err(Failure::FullScale {
            rig_nm: full_scale_nm,
            needed_nm: allowed_nm,
        });
    }
    let counts_per_nm = f64::from(rig_link::FULL_SCALE_COUNTS) / full_scale_nm;
    let [low, high] = limits.rim_window_rad;
    // `as` saturates; all values are positive and finite by the rig file's ranges.
    Ok(Configuration {
        sample_period_us,
        torque_limit_raw: libm::ceil(limits.torque_nm * counts_per_nm - ROUNDING_RAW)
            .min(libm::floor(allowed_nm * counts_per_nm + ROUNDING_RAW)) as u16,
        slew_limit_raw_per_ms: libm::floor(limits.slew_nm_per_s * 1e-3 * counts_per_nm)
            .clamp(1.0, MOST_SLEW_RAW) as u16,
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

/// Checks that the rig will play the plan as it is: one that lowered the limits of torque or slew below what the plan
/// needs would cut setpoints without a word.
pub(super) fn check_serves(
    bounds: &Bounds,
    applied: &Configuration,
    full_scale_nm: f64,
) -> Result<(), Failure> {
    let counts_per_nm = f64::from(rig_link::FULL_SCALE_COUNTS) / full_scale_nm;
    let needs = |field, needed: f64, applied: u16| {
        // Rounding to the tighter side takes off less than a count.
        if f64::from(applied) + 1.0 - ROUNDING_RAW > needed {
            return Ok(());
        }
        Err(Failure::CutsPlan {
            field,
            needed: libm::ceil(needed) as i64,
            applied: applied.into(),
        })
    };
    needs(
        "torque limit",
        bounds.need.peak_nm * counts_per_nm,
        applied.torque_limit_raw,
    )?;
    // A step that the rig file itself spreads was noted when the plan was made.
    let change = bounds.need.change_nm_per_s.min(bounds.allowed.slew_nm_per_s);
    let slew = (change * 1e-3 * counts_per_nm).min(MOST_SLEW_RAW);
    needs("slew limit", libm::floor(slew), applied.slew_limit_raw_per_ms)
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
