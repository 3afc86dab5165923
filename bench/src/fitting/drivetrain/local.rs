//! Stiffness over torque, read off slow loops piece by piece: no model, so that a knee, a gap or a soft hub is seen as it is.

/// Amounts of torque at which it is read.
const PLACES: usize = 32;
/// Width of the window about each, as a share of the largest torque.
const WINDOW: f64 = 0.22;
/// Steps of the rotor's encoder lie at the same place in every loop, so that loops alike do not show them: `m` of them in a window tilt a
/// line over it by this over `m²` at most (a saw-tooth against a straight line).
const STEPS_TILT: f64 = 0.7;
/// Largest share of the largest torque at which it is read.
const MOST: f64 = 0.97;
/// Share of the span behind a reversal that is left out: friction of the hub turns over there.
const SETTLE: f64 = 0.15;
/// Least readings in a window.
const READINGS: usize = 8;
/// Least branches behind a value.
const BRANCHES: usize = 3;
/// Coverage factor: 95 % of a normal error.
const K95: f64 = 1.96;

/// Twist (rad) and torque (N·m) from one reversal to the next, friction settled.
pub(super) type Branch = Vec<[f64; 2]>;

/// The branches of loops, parted where the command turns.
pub(super) fn branches(twist_rad: &[f64], torque_nm: &[f64], setpoint_nm: &[f64]) -> Vec<Branch> {
    let ends = |values: &[f64]| {
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |m, v| {
            (m.0.min(*v), m.1.max(*v))
        })
    };
    let (low, high) = ends(torque_nm);
    let mut found: Vec<Branch> = Vec::new();
    let mut sense = 0.0;
    let mut from_nm = 0.0;
    for i in 1..setpoint_nm.len().saturating_sub(1) {
        let change = setpoint_nm[i + 1] - setpoint_nm[i - 1];
        if change.abs() <= 0.0 {
            continue;
        }
        if change.signum() * sense <= 0.0 {
            sense = change.signum();
            from_nm = torque_nm[i];
            found.push(Vec::new());
        }
        if (torque_nm[i] - from_nm).abs() < SETTLE * (high - low) {
            continue;
        }
        if let Some(branch) = found.last_mut() {
            branch.push([twist_rad[i], torque_nm[i]]);
        }
    }
    found
}

/// Amount of torque, and the stiffness there over both sides and ways: lower end of the interval from their scatter, value, upper
/// end, N·m/rad. `step_rad` is a step of the encoder.
pub(super) fn stiffness(branches: &[Branch], step_rad: f64) -> Vec<(f64, [f64; 3])> {
    let all = || branches.iter().flatten().map(|point| point[1].abs());
    let most = all().fold(0.0, f64::max);
    let half = 0.5 * WINDOW * most;
    // At the end a window may be filled by three quarters.
    let place = |k: usize| half + (MOST * most - 1.5 * half) * k as f64 / (PLACES - 1) as f64;
    (0..PLACES)
        .filter_map(|k| {
            let at = place(k);
            let compliances: Vec<f64> = branches
                .iter()
                .flat_map(|branch| [-1.0, 1.0].map(|side| compliance(branch, side * at, half)))
                .flatten()
                .collect();
            let n = compliances.len() as f64;
            let mean = compliances.iter().sum::<f64>() / n;
            if compliances.len() < BRANCHES || mean <= 0.0 {
                return None;
            }
            let squares: f64 = compliances.iter().map(|c| (c - mean).powi(2)).sum();
            let steps = 2.0 * half * mean / step_rad.max(f64::MIN_POSITIVE);
            let wide = (K95 * (squares / (n - 1.0) / n).sqrt()).hypot(mean * STEPS_TILT / (steps * steps));
            // Where the scatter is as large as the compliance, nothing bounds the stiffness from above.
            let least = (mean - wide).max(0.05 * mean);
            let tenths = |k: f64| (10.0 * k).round() / 10.0;
            Some((at, [1.0 / (mean + wide), 1.0 / mean, 1.0 / least].map(tenths)))
        })
        .collect()
}

/// Slope of twist over torque within a window that the branch fills.
fn compliance(branch: &Branch, at_nm: f64, half_nm: f64) -> Option<f64> {
    let inside = || branch.iter().filter(|p| (p[1] - at_nm).abs() <= half_nm);
    let n = inside().count() as f64;
    let ends = inside().fold((f64::INFINITY, f64::NEG_INFINITY), |m, p| {
        (m.0.min(p[1]), m.1.max(p[1]))
    });
    if (n as usize) < READINGS || ends.1 - ends.0 < 1.5 * half_nm {
        return None;
    }
    let mean = |k: usize| inside().map(|p| p[k]).sum::<f64>() / n;
    let (twist, torque) = (mean(0), mean(1));
    let (both, square) = inside().fold((0.0, 0.0), |s, p| {
        (
            s.0 + (p[0] - twist) * (p[1] - torque),
            s.1 + (p[1] - torque).powi(2),
        )
    });
    (square > 0.0).then(|| both / square)
}

/// Ends of a line of slope `k` through the middle of the readings between two torques; `None` where there are none.
pub(super) fn flank(twist_rad: &[f64], torque_nm: &[f64], ends: [f64; 2], k: f64) -> Option<[[f64; 2]; 2]> {
    let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
    let inside = || {
        twist_rad
            .iter()
            .zip(torque_nm)
            .filter(|(_, nm)| (low..=high).contains(*nm))
    };
    let n = inside().count() as f64;
    let (twist, torque) = inside().fold((0.0, 0.0), |s, (a, nm)| (s.0 + a / n, s.1 + nm / n));
    (n > 0.0 && k > 0.0).then(|| ends.map(|nm| [twist + (nm - torque) / k, nm]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Loops of ±6 N·m on a spring of 900 N·m/rad that is half as stiff from 4 N·m on, `friction` between the ways.
    fn loops(friction: f64) -> [Vec<f64>; 3] {
        let setpoint: Vec<f64> = (0..4000)
            .map(|i| {
                let at = f64::from(i % 1000) / 250.0;
                6.0 * if at < 1.0 {
                    at
                } else if at < 3.0 {
                    2.0 - at
                } else {
                    at - 4.0
                }
            })
            .collect();
        let spring = |nm: f64| nm / 900.0 + (nm.abs() - 4.0).max(0.0).copysign(nm) / 900.0;
        let twist = (0..setpoint.len())
            .map(|i| {
                let rises = setpoint[(i + 1) % 4000] > setpoint[i];
                spring(setpoint[i]) + if rises { -friction } else { friction }
            })
            .collect();
        [twist, setpoint.clone(), setpoint]
    }

    #[test]
    fn stiffness_over_torque_is_the_spring_s_and_halves_at_the_knee() {
        let [twist, torque, setpoint] = loops(2e-4);
        let found = stiffness(&branches(&twist, &torque, &setpoint), 0.0);
        assert!(found.len() > 25);
        assert!(found.last().is_some_and(|(at, _)| *at > 5.0));
        for (at, [low, k, high]) in found {
            assert!(low <= k && k <= high);
            let expected = match at {
                at if at < 3.3 => 900.0,
                at if at > 4.7 => 450.0,
                _ => continue,
            };
            assert!((k / expected - 1.0).abs() < 0.01, "{k} at {at}");
        }
    }

    #[test]
    fn steps_of_the_encoder_are_within_the_interval() {
        let [twist, torque, setpoint] = loops(2e-4);
        let step = 3.5e-4;
        let stepped: Vec<f64> = twist.iter().map(|a| (a / step).floor() * step).collect();
        for (at, [low, _, high]) in stiffness(&branches(&stepped, &torque, &setpoint), step) {
            assert!(
                at > 3.3 || (low < 900.0 && 900.0 < high),
                "{low} to {high} at {at}"
            );
        }
    }

    #[test]
    fn a_flank_runs_through_the_readings() {
        let [twist, torque, _] = loops(0.0);
        let [a, b] = flank(&twist, &torque, [1.0, 3.0], 900.0).unwrap();
        assert!((a[0] - 1.0 / 900.0).abs() < 1e-6 && (b[0] - 3.0 / 900.0).abs() < 1e-6);
        assert_eq!((a[1], b[1]), (1.0, 3.0));
        assert!(flank(&twist, &torque, [7.0, 8.0], 900.0).is_none());
    }

    #[test]
    fn nothing_is_read_off_nothing() {
        assert!(stiffness(&branches(&[], &[], &[]), 1e-4).is_empty());
        assert!(stiffness(&branches(&[0.0; 50], &[0.0; 50], &[0.0; 50]), 1e-4).is_empty());
    }
}
