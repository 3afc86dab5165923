//! Checks on the recording as a whole.

use truerim_analysis::estimate::Check;
use truerim_analysis::frequency::FrequencyResponse;

use super::cut::Cuts;
use super::facts::RecordingFacts;
use super::reading::plain;
use super::scan::Scan;

/// Largest change of zero, as a share of the largest torque. Friction in a clamped drivetrain can hold some torque at zero
/// setpoint, which is no drift of the sensor, and no result here depends on the zero; hence not tighter.
const ZERO_SHARE: f64 = 0.10;
/// Largest departure from an even grid, as a share of the sample period.
const UNEVEN: f64 = 0.01;
/// Share of bands that may lie below the least coherence.
const LOW_BANDS: f64 = 0.02;

/// All checks, in the order of a report.
pub(crate) fn checks(
    facts: &RecordingFacts,
    scan: &Scan,
    cuts: &Cuts,
    response: Option<(&FrequencyResponse, f64)>,
) -> Vec<Check> {
    let mut checks = vec![
        completion(facts),
        repeats(cuts),
        lost(scan),
        timing(facts, scan),
        saturation(scan),
        setpoint(cuts),
    ];
    // A rim that turns is dragged at setpoint zero as well, so that says nothing of the sensor.
    if !matches!(facts.mounting.as_str(), "free" | "back-driven") {
        checks.push(zero(scan, cuts, facts.sensor.zero_uncertainty_nm));
    }
    if let Some((response, least)) = response {
        checks.push(coherence(response, least));
    }
    checks.push(calibration(facts));
    checks.push(seal(facts));
    checks
}

fn completion(facts: &RecordingFacts) -> Check {
    let ending = &facts.completion;
    let detail = if ending.is_complete() {
        "the whole procedure was played".into()
    } else {
        format!("partial: the run ended as {}: {}", ending.state, ending.cause)
    };
    Check::new("completion", ending.is_complete(), detail)
}

fn repeats(cuts: &Cuts) -> Check {
    let used = cuts.iter().count();
    let detail = match cuts.left_out.as_slice() {
        [] => format!("all {used} recorded repeats can be used"),
        [first, ..] => {
            format!(
                "{} of {} left out; the first: {first}",
                cuts.left_out.len(),
                used + cuts.left_out.len()
            )
        }
    };
    Check::new("whole repeats", cuts.left_out.is_empty(), detail)
}

fn lost(scan: &Scan) -> Check {
    let detail = match scan.lost {
        0 => "no sample is missing".into(),
        n => format!(
            "{n} samples are missing in {} gaps; repeats with a gap are left out",
            scan.gaps
        ),
    };
    Check::new("lost samples", scan.lost == 0, detail)
}

/// Fits take samples as even: what lies a hundredth of a period off the grid shifts an edge by as much at most.
fn timing(facts: &RecordingFacts, scan: &Scan) -> Check {
    let most_s = UNEVEN / facts.sample_rate_hz;
    let detail = format!(
        "samples lie at most {} µs off an even grid, at most {} µs",
        plain(1e6 * scan.jitter_s, 2),
        plain(1e6 * most_s, 2)
    );
    Check::new("sample timing", scan.jitter_s <= most_s, detail)
}

fn saturation(scan: &Scan) -> Check {
    let found: Vec<String> = scan
        .saturated
        .iter()
        .map(|(name, n)| format!("{name} in {n} samples"))
        .collect();
    let detail = if found.is_empty() {
        "no channel reached the end of its range".into()
    } else {
        format!("beyond the range of its converter: {}", found.join(", "))
    };
    Check::new("saturation", scan.saturated.is_empty(), detail)
}

fn setpoint(cuts: &Cuts) -> Check {
    let off: Vec<&super::cut::Cut> = cuts.iter().filter(|cut| !cut.as_planned()).collect();
    let worst = off
        .iter()
        .max_by(|a, b| a.departure_nm.total_cmp(&b.departure_nm));
    let detail = match worst {
        None => "the setpoint in force was as planned".into(),
        Some(cut) => format!(
            "{} repeats differ from the plan, at most by {} N·m ({}); they are left out",
            off.len(),
            plain(cut.departure_nm, 2),
            cut.row.name
        ),
    };
    Check::new("clipped setpoint", off.is_empty(), detail)
}

fn zero(scan: &Scan, cuts: &Cuts, zero_u_nm: Option<f64>) -> Check {
    let limit_nm = (ZERO_SHARE * cuts.largest_nm).max(3.0 * zero_u_nm.unwrap_or(0.0));
    match scan.zeros_nm {
        None => Check::new(
            "zero drift",
            false,
            "no stretch at zero setpoint is long enough to judge by",
        ),
        Some((before, after)) => {
            let drift_nm = after - before;
            let detail = format!(
                "{} mN·m from the first to the last stretch at zero setpoint, friction included, at most {} mN·m",
                plain(1e3 * drift_nm, 2),
                plain(1e3 * limit_nm, 2)
            );
            Check::new("zero drift", drift_nm.abs() <= limit_nm, detail)
        }
    }
}

fn coherence(response: &FrequencyResponse, least: f64) -> Check {
    let low = response.usable.iter().filter(|usable| !**usable).count();
    let total = response.usable.len();
    let most = (LOW_BANDS * total as f64).floor() as usize;
    let worst = response
        .coherence
        .iter()
        .zip(&response.f_hz)
        .min_by(|a, b| a.0.total_cmp(b.0));
    let lowest = worst.map_or(String::new(), |(coherence, f)| {
        format!("; the lowest is {} at {} Hz", plain(*coherence, 3), plain(*f, 3))
    });
    let detail = format!(
        "{low} of {total} bands below {}, at most {most}{lowest}",
        plain(least, 2)
    );
    Check::new("coherence", low <= most, detail)
}

/// Dates are compared as written, `YYYY-MM-DD`.
fn calibration(facts: &RecordingFacts) -> Check {
    let day = facts.created.get(..10).unwrap_or("");
    let (from, to) = (facts.sensor.calibrated.as_str(), facts.sensor.due.as_str());
    let dated = |text: &str| text.len() == 10 && text.bytes().filter(|b| *b == b'-').count() == 2;
    if !(dated(day) && dated(from) && dated(to)) {
        return Check::new(
            "calibration",
            false,
            "a date is missing: recording, calibration or its end",
        );
    }
    let valid = from <= day && day <= to;
    Check::new(
        "calibration",
        valid,
        format!("recorded {day}, calibrated {from}, due {to}"),
    )
}

fn seal(facts: &RecordingFacts) -> Check {
    let detail = match facts.seal {
        Some(_) => "the recording is sealed (its contents are compared with the seal when it is verified)",
        None => "the recording is not sealed, so it could have been changed",
    };
    Check::new("seal", facts.seal.is_some(), detail)
}
