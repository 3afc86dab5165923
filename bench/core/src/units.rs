//! Between the units of files and people and those of the rig: seconds and ticks, N·m and counts.

use alloc::{format, string::String};
use rig_link::FULL_SCALE_COUNTS;
use settings_file::write_number;

/// Microseconds in a second: one rig tick is one microsecond.
pub const US_PER_S: f64 = 1e6;

/// A duration in whole microseconds, rounded to the nearest; 0 for what is negative or not a number.
pub fn us_from_s(seconds: f64) -> u64 {
    // `as` saturates, and turns a value that is not a number into 0.
    libm::round(seconds * US_PER_S) as u64
}

/// A duration in seconds. Exact up to 2^53 µs (285 years).
pub fn s_from_us(us: u64) -> f64 {
    us as f64 / US_PER_S
}

/// The setpoint counts that stand for a torque on a rig of the given full scale: rounded to the nearest, held to the
/// ends of the range, and 0 for a torque or a full scale that is not finite and positive (no torque is the safe one).
///
/// ```
/// use bench_core::units::counts_from_nm;
/// assert_eq!(counts_from_nm(4.0, 8.0), 16384);
/// assert_eq!(counts_from_nm(-9.0, 8.0), -32767);
/// assert_eq!(counts_from_nm(f64::NAN, 8.0), 0);
/// ```
pub fn counts_from_nm(torque_nm: f64, full_scale_nm: f64) -> i16 {
    if !torque_nm.is_finite() || !full_scale_nm.is_finite() || full_scale_nm <= 0.0 {
        return 0;
    }
    let full = f64::from(FULL_SCALE_COUNTS);
    libm::round(torque_nm / full_scale_nm * full).clamp(-full, full) as i16
}

/// The torque that setpoint counts stand for on a rig of the given full scale.
pub fn nm_from_counts(counts: i16, full_scale_nm: f64) -> f64 {
    f64::from(counts) / f64::from(FULL_SCALE_COUNTS) * full_scale_nm
}

/// A torque for people, such as `1.75 N·m`.
pub fn show_nm(torque_nm: f64) -> String {
    format!("{} N·m", write_number(torque_nm))
}

/// A rate of torque for people, such as `2 N·m/ms`.
pub fn show_slew(slew_nm_per_s: f64) -> String {
    format!("{} N·m/ms", write_number(slew_nm_per_s / 1e3))
}

/// A duration for people: milliseconds below a second, seconds below two minutes, then minutes and seconds.
///
/// ```
/// use bench_core::units::show_us;
/// assert_eq!(show_us(250_000), "250 ms");
/// assert_eq!(show_us(71_340_000), "71.3 s");
/// assert_eq!(show_us(605_000_000), "10 min 5 s");
/// ```
pub fn show_us(us: u64) -> String {
    if us < 1_000_000 {
        format!("{} ms", write_number(us as f64 / 1e3))
    } else if us < 120_000_000 {
        format!("{} s", write_number(libm::round(us as f64 / 1e5) / 10.0))
    } else {
        let seconds = (us + 500_000) / 1_000_000;
        format!("{} min {} s", seconds / 60, seconds % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_and_seconds() {
        assert_eq!(us_from_s(0.000_25), 250);
        assert_eq!(us_from_s(1.0 / 3.0), 333_333);
        assert_eq!(us_from_s(-1.0), 0);
        assert_eq!(us_from_s(f64::NAN), 0);
        assert!((s_from_us(250) - 0.000_25).abs() < 1e-18);
    }

    #[test]
    fn counts_never_leave_the_range_and_round_trip_to_half_a_count() {
        let full_scale_nm = 8.0;
        for i in -900..=900 {
            let torque_nm = f64::from(i) / 100.0;
            let back = nm_from_counts(counts_from_nm(torque_nm, full_scale_nm), full_scale_nm);
            let wanted = torque_nm.clamp(-full_scale_nm, full_scale_nm);
            assert!(
                (back - wanted).abs() <= 0.5 * full_scale_nm / 32767.0 + 1e-12,
                "{torque_nm}: {back}"
            );
        }
        for odd in [f64::INFINITY, f64::NEG_INFINITY, f64::NAN] {
            assert_eq!(counts_from_nm(odd, 8.0), 0);
            assert_eq!(counts_from_nm(1.0, odd), 0);
        }
        assert_eq!(counts_from_nm(1.0, 0.0), 0);
    }
}
