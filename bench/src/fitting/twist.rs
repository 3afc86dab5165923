//! The drivetrain's spring from rotor and rim angle, and what it says of the first resonance.
//!
//! Clamped, torque passes rotor, drivetrain, hub, sensor and fixture in series. Torque over twist between rotor and rim is the
//! drivetrain's stiffness whatever the rig's; with the rig's own, declared, it tells how much of a resonance is the rig's.

use ndarray::Array1;
use truerim_analysis::clamp::{ClampModel, Known};
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use truerim_analysis::regression;
use truerim_analysis::statistics::mean_sd;
use truerim_analysis::zero_phase::LowPass;

use super::FittingError;
use super::document::{Measurand, Quantity, RigSpring};
use super::groups::{Group, refused};
use super::sensor::SensorTerms;
use crate::recording::{Declared, Recording};

/// Low-pass on torque and twist, Hz: well below the first resonance of any wheelbase on a clamp, so that no inertia
/// takes part.
const CORNER_HZ: f64 = 15.0;
/// Low-pass behind which a gap is looked for, Hz: resonance and what a gap adds to it are within.
const FAST_HZ: f64 = 200.0;
/// Samples around a change of sign that say nothing of the closed drivetrain, as the low-pass smears it over them, s.
const AROUND_S: f64 = 0.1;
/// Fewest samples of either sign for a gap.
const FEWEST_FAR: usize = 20;
/// Share of the amplitude that the spring would take for the gap above which the gap decides how the drivetrain rings.
const GAP_MATTERS: f64 = 0.5;
/// Share of the stiffness by which the hub's friction may add to the rig's spring before it slides: up to 200 N·m/rad
/// beside 2,000 N·m/rad and more, half of it as a bound either way.
const HUB_FRICTION: f64 = 0.05;
/// Relative standard uncertainty of a stiffness that a data sheet gives.
pub(crate) const DATA_SHEET: f64 = 0.05;
/// Inertia between drivetrain and sensor, kg·m², and its standard uncertainty: hub and coupling of wheelbases weigh
/// 0.0005 to 0.002 kg·m².
pub(crate) const HUB_KG_M2: [f64; 2] = [1e-3, 0.4e-3];
/// Share of the twist at the first resonance above which the rig's springs decide it.
const RIG_DECIDES: f64 = 0.5;

/// Stiffness of the drivetrain, inertia of the rotor, resonance on an ideal clamp; and the check that goes beside
/// the resonance as measured.
pub(crate) fn of(
    recording: &Recording,
    group: &Group<'_>,
    sensor: &SensorTerms,
    (declared, spring): (&Declared, &RigSpring),
    resonance: &Outcome,
) -> Result<(Vec<Measurand>, Option<Check>), FittingError> {
    let (stiffness, gap) = match twisted(recording, group, declared)? {
        Ok(twisted) => {
            let amplitude_nm = group.conditions.amplitude_nm.unwrap_or(0.0);
            (
                from_slopes(&twisted, amplitude_nm, sensor).into(),
                twisted.gap_nm > GAP_MATTERS * amplitude_nm,
            )
        }
        Err(refused) => (refused, false),
    };
    let (mut inertia, mut ideal, check) = parts(&stiffness, resonance, spring);
    if gap {
        // A spring that lets go half of the time rings lower than it would in contact.
        let open = refused(
            "gap_opens",
            "torque changes sign at the resonance and the drivetrain's gap opens, so what rings is not its spring alone; \
             use a smaller amplitude or a greater preload",
        );
        inertia = open.clone();
        ideal = open;
    }
    let n = group.cuts.len();
    let list = [
        (Quantity::DriveStiffness, stiffness),
        (Quantity::RotorInertia, inertia),
        (Quantity::IdealResonance, ideal),
    ];
    let list = list.map(|(quantity, result)| group.measurand(quantity, n, result));
    Ok((list.into(), check))
}

/// Why there is no twist.
pub(crate) fn no_rotor_angle() -> Outcome {
    refused(
        "no_rotor_angle",
        "the twist of the drivetrain takes rotor and rim angle and the ratio between them; record a motor_angle \
         channel and declare rig.wheelbase.ratio",
    )
}

/// What the twist of the drivetrain shows.
struct Twisted {
    /// Twist per torque of each repeat, rad/(N·m).
    slopes: Vec<f64>,
    /// Twist between torque of either sign that no torque takes, as the torque that the spring would take for it, N·m.
    gap_nm: f64,
    /// Smallest change that the twist shows, rad.
    step_rad: f64,
}

/// Twist on torque, chirp by chirp: torque is the quieter of the two, so the slope is not pulled down by noise.
fn twisted(
    recording: &Recording,
    group: &Group<'_>,
    declared: &Declared,
) -> Result<Result<Twisted, Outcome>, FittingError> {
    let header = recording.header();
    let there = |name: &str| header.channel_index(name).is_some();
    let Some(ratio) = declared
        .ratio
        .filter(|_| there("motor_angle") && there("rim_angle"))
    else {
        return Ok(Err(no_rotor_angle()));
    };
    let low_pass = |corner_hz: f64| LowPass::butterworth(4, corner_hz, header.sample_rate_hz());
    let (slow, fast) = match low_pass(CORNER_HZ).and_then(|slow| Ok((slow, low_pass(FAST_HZ)?))) {
        Ok(filters) => filters,
        Err(refusal) => return Ok(Err(refusal.into())),
    };
    let (mut slopes, mut gaps_rad) = (Vec::new(), Vec::new());
    let mut step_rad = f64::INFINITY;
    for cut in &group.cuts {
        let rotor = recording.values("motor_angle", cut.rows.clone())?;
        let rim = recording.values("rim_angle", cut.rows.clone())?;
        let torque = recording.values("torque", cut.rows.clone())?;
        step_rad = step_rad.min(smallest_change(&rotor) / ratio + smallest_change(&rim));
        let twist = rotor / ratio - rim;
        let around = (AROUND_S * header.sample_rate_hz()) as usize;
        let found = slope(&slow, &twist, &torque, &loaded(&torque, around)).and_then(|slope| {
            slopes.push(slope);
            gap(&fast, &twist, &torque, slope)
        });
        match found {
            Ok(gap_rad) => gaps_rad.extend(gap_rad),
            Err(refusal) => return Ok(Err(refusal.into())),
        }
    }
    let mean = |list: &[f64]| list.iter().sum::<f64>() / list.len().max(1) as f64;
    let gap_nm = mean(&gaps_rad) / mean(&slopes);
    Ok(Ok(Twisted {
        slopes,
        gap_nm,
        step_rad,
    }))
}

/// Smallest change from one sample to the next: what a position sensor can tell apart. Nothing where none changes.
fn smallest_change(angle: &Array1<f64>) -> f64 {
    let changes = angle.windows(2).into_iter().map(|pair| (pair[1] - pair[0]).abs());
    let least = changes
        .filter(|change| *change > 1e-12)
        .fold(f64::INFINITY, f64::min);
    if least.is_finite() { least } else { 0.0 }
}

/// Twist per torque over the samples that count, rad/(N·m).
fn slope(
    filter: &LowPass,
    twist: &Array1<f64>,
    torque: &Array1<f64>,
    counts: &[bool],
) -> Result<f64, Refusal> {
    let (x, y) = (filter.run(&torque.to_vec())?, filter.run(&twist.to_vec())?);
    let kept = |v: Vec<f64>| -> Vec<f64> {
        v.into_iter()
            .zip(counts)
            .filter(|(_, c)| **c)
            .map(|(v, _)| v)
            .collect()
    };
    let (x, y) = (kept(x), kept(y));
    regression::slope(&x, &y)
}

/// The samples around which torque keeps its sign: a gap in the drivetrain stays closed there. All of them where too few
/// would be left.
fn loaded(torque: &Array1<f64>, around: usize) -> Vec<bool> {
    let sign = torque.sum().signum();
    let mut counts = vec![true; torque.len()];
    for (i, nm) in torque.iter().enumerate() {
        if sign * nm <= 0.0 {
            let until = (i + around).min(counts.len());
            counts[i.saturating_sub(around)..until].fill(false);
        }
    }
    let left = counts.iter().filter(|c| **c).count();
    if left < torque.len() / 4 {
        counts.fill(true);
    }
    counts
}

/// Twist between the mid-lines of positive and negative torque, less what torque itself makes of it, rad; nothing where torque
/// hardly changes sign.
fn gap(
    filter: &LowPass,
    twist: &Array1<f64>,
    torque: &Array1<f64>,
    slope: f64,
) -> Result<Option<f64>, Refusal> {
    let (x, y) = (filter.run(&torque.to_vec())?, filter.run(&twist.to_vec())?);
    let most = x.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
    let rest = |sign: f64| -> Option<f64> {
        let far = x.iter().zip(&y).filter(|(x, _)| sign * **x > 0.1 * most);
        let rest: Vec<f64> = far.map(|(x, y)| y - slope * x).collect();
        (rest.len() >= FEWEST_FAR).then(|| rest.iter().sum::<f64>() / rest.len() as f64)
    };
    Ok(rest(1.0).zip(rest(-1.0)).map(|(above, below)| above - below))
}

/// Relative standard uncertainty of a slope that a staircase of `steps` steps to the amplitude leaves, whatever its place:
/// the standard deviation of a quantiser's describing function over its place, from 0.12 at one step to 0.004 at ten, computed
/// with numpy as the first harmonic of `floor(r sin t + place)`.
fn staircase(steps: f64) -> f64 {
    0.125 * steps.powf(-1.5)
}

fn from_slopes(twisted: &Twisted, amplitude_nm: f64, sensor: &SensorTerms) -> Result<Estimate, Refusal> {
    let slopes = &twisted.slopes;
    let needed = 3;
    if slopes.len() < needed {
        return Err(Refusal::TooFewRepeats {
            what: "stiffness of the drivetrain".into(),
            got: slopes.len(),
            needed,
        });
    }
    let stats = mean_sd(slopes)?;
    let u = stats.sd / (stats.n as f64).sqrt();
    // A twist that does not grow with torque beyond its own scatter is one that the encoders do not resolve.
    if stats.mean <= 5.0 * u {
        return Err(Refusal::NotCovered {
            what: "twist of the drivetrain per torque, over its scatter".into(),
            got: stats.mean / u,
            needed: 5.0,
            unit: "1".into(),
            remedy: "the encoders do not resolve so stiff a drivetrain; use a larger amplitude".into(),
        });
    }
    let k = 1.0 / stats.mean;
    let budget = vec![
        Contribution::type_a("scatter of repeats", k * u / stats.mean, stats.n as f64 - 1.0),
        Contribution::type_b("torque gain", k * sensor.gain_rel_u),
        Contribution::rectangular("friction of the hub before it slides", k * HUB_FRICTION),
        Contribution::type_b(
            "steps of the position sensors",
            k * staircase(amplitude_nm * stats.mean / twisted.step_rad.max(1e-12)),
        ),
    ];
    let method = format!("least squares of twist on torque below {CORNER_HZ} Hz, mean over repeats");
    Estimate::from_budget(k, "N.m/rad", stats.n, method, budget)
}

/// What follows from the drivetrain's spring `k`, the rig's, and the first resonance.
fn parts(stiffness: &Outcome, resonance: &Outcome, spring: &RigSpring) -> (Outcome, Outcome, Option<Check>) {
    let (Some(k), Some(f)) = (stiffness.estimate(), resonance.estimate()) else {
        let why = match (stiffness.estimate(), resonance.estimate()) {
            (None, _) => "the stiffness of the drivetrain",
            _ => "the first resonance",
        };
        let result = refused(
            "part_missing",
            format!("it follows from {why}, which could not be given; see the reason there"),
        );
        return (result.clone(), result, None);
    };
    let Some(rig) = spring.series_nm_per_rad else {
        let result = refused(
            "rig_spring_missing",
            "it follows from the rig's springs, and sensor or fixture stiffness is not declared",
        );
        return (result.clone(), result, None);
    };
    let share = k.value / (k.value + rig);
    let check = Check::new(
        "the rig does not decide",
        share <= RIG_DECIDES,
        format!(
            "sensor and fixture give {:.0} % of the twist at the first resonance, at most {:.0} %",
            100.0 * share,
            100.0 * RIG_DECIDES
        ),
    );
    let known = [
        (k.value, k.std_uncertainty, "stiffness of the drivetrain"),
        (rig, DATA_SHEET * rig, "stiffness of the rig, as declared"),
        (HUB_KG_M2[0], HUB_KG_M2[1], "inertia of the hub, assumed"),
        (f.value, f.std_uncertainty, "first resonance"),
    ];
    let method = "two inertias on springs: rotor and hub, drivetrain measured, rig declared";
    let make = |unit: &str, figure: &dyn Fn(&[f64; 4]) -> f64| -> Result<Estimate, Refusal> {
        let values = known.map(|k| k.0);
        let budget = known
            .iter()
            .enumerate()
            .map(|(i, (_, u, name))| {
                let (mut above, mut below) = (values, values);
                above[i] += 0.5 * u;
                below[i] -= 0.5 * u;
                Contribution::type_b(*name, (figure(&above) - figure(&below)).abs())
            })
            .collect();
        Ok(Estimate::from_budget(figure(&values), unit, f.n, method, budget)?.with_checks([check.clone()]))
    };
    let inertia = make("kg.m2", &rotor_kg_m2).into();
    let ideal = if share <= RIG_DECIDES {
        let on_clamp = |x: &[f64; 4]| (x[0] / rotor_kg_m2(x)).sqrt() / std::f64::consts::TAU;
        make("Hz", &on_clamp).into()
    } else {
        let model = ClampModel {
            rig_stiffness: Known::new(rig, 0.0),
            rig_damping: Known::new(0.0, 0.0),
            hub_inertia: Known::new(HUB_KG_M2[0], 0.0),
            drive_stiffness: Known::new(k.value, 0.0),
            drive_damping: Known::new(0.0, 0.0),
            rotor_inertia: Known::new(1.0, 0.0),
            rotor_damping: Known::new(0.0, 0.0),
        };
        refused(
            "rig_decides",
            format!(
                "sensor and fixture give {:.0} % of the twist, so the resonance at {:.1} Hz is the rig's (its own lowest mode \
                 with a hub of {} kg·m² lies near {:.0} Hz); use a stiffer sensor and fixture",
                100.0 * share,
                f.value,
                HUB_KG_M2[0],
                model.rig_mode_hz()
            ),
        )
    };
    (inertia, ideal, Some(check))
}

/// Rotor that makes `[k, rig, hub, f]` ring at `f`: `(k − J w²)(k + rig − hub w²) = k²`.
fn rotor_kg_m2([k, rig, hub, f]: &[f64; 4]) -> f64 {
    let w2 = (std::f64::consts::TAU * f).powi(2);
    (k - k * k / (k + rig - hub * w2)) / w2
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(value: f64, unit: &str) -> Outcome {
        let budget = vec![Contribution::type_b("hand", 0.001 * value)];
        Estimate::from_budget(value, unit, 4, "hand", budget).into()
    }

    /// numpy: `scipy.linalg.eigh([[900, -900], [-900, 4233.333]], diag(2.025e-3, 1e-3))` gives 93.02887 and 331.41 Hz (scipy 1.x);
    /// on an ideal clamp `sqrt(900/2.025e-3)/2π` is 106.1033 Hz.
    #[test]
    fn two_inertias_come_back_from_their_resonance() {
        let spring = RigSpring::new(4_000.0, 20_000.0);
        let (inertia, ideal, check) = parts(&known(900.0, "N.m/rad"), &known(93.028_87, "Hz"), &spring);
        let (inertia, ideal) = (inertia.estimate().unwrap(), ideal.estimate().unwrap());
        assert!((inertia.value - 2.025e-3).abs() < 1e-6, "{}", inertia.value);
        assert!((ideal.value - 106.103_3).abs() < 0.01, "{}", ideal.value);
        assert!(check.unwrap().passed && ideal.std_uncertainty > 0.0);
    }

    /// Ten seconds of torque at 4,000 samples a second: 1 N·m at 5 Hz on 0.5 N·m, or on 1.5 N·m, twisting 250 N·m/rad and a gap.
    fn twisting(preload_nm: f64, gap_rad: f64) -> (Array1<f64>, Array1<f64>) {
        let torque = Array1::from_iter((0..40_000).map(|i| {
            let t = f64::from(i) / 4_000.0;
            preload_nm + (std::f64::consts::TAU * 5.0 * t).sin()
        }));
        let twist = torque.mapv(|nm: f64| nm / 250.0 + 0.5 * gap_rad * nm.signum());
        (torque, twist)
    }

    #[test]
    fn a_gap_is_seen_where_torque_changes_sign_and_kept_out_of_the_spring() {
        let (slow, fast) = (
            LowPass::butterworth(4, CORNER_HZ, 4_000.0).unwrap(),
            LowPass::butterworth(4, FAST_HZ, 4_000.0).unwrap(),
        );
        let (torque, twist) = twisting(0.5, 7e-3);
        let found = gap(&fast, &twist, &torque, 1.0 / 250.0).unwrap().unwrap();
        assert!((found - 7e-3).abs() < 0.3e-3, "{found}");
        // No gap, and one that is always closed: nothing to see, and the slope is the spring's.
        let (torque, twist) = twisting(0.5, 0.0);
        assert!(gap(&fast, &twist, &torque, 1.0 / 250.0).unwrap().unwrap().abs() < 0.1e-3);
        let (torque, twist) = twisting(1.5, 7e-3);
        assert_eq!(gap(&fast, &twist, &torque, 1.0 / 250.0).unwrap(), None);
        let counts = loaded(&torque, 400);
        assert!(counts.iter().all(|c| *c));
        let closed = slope(&slow, &twist, &torque, &counts).unwrap();
        assert!((closed * 250.0 - 1.0).abs() < 1e-6);
        // A second of changing sign in ten takes out itself and a tenth of a second on either side.
        let (mut torque, mut twist) = (torque, twist);
        for i in 16_000..20_000 {
            torque[i] -= 1.0;
            twist[i] = torque[i] / 250.0 + 3.5e-3 * torque[i].signum();
        }
        let counts = loaded(&torque, 400);
        let out = counts.iter().filter(|c| !**c).count();
        assert!((4_000..5_000).contains(&out), "{out}");
        let closed = slope(&slow, &twist, &torque, &counts).unwrap();
        assert!((closed * 250.0 - 1.0).abs() < 0.02, "{closed}");
    }

    /// Of a staircase of one step to the amplitude a slope is off by an eighth, of ten steps by less than half a per cent.
    #[test]
    fn steps_of_the_sensor_count_by_their_number() {
        assert!((staircase(1.0) - 0.122).abs() < 0.01 && (staircase(10.0) - 0.004).abs() < 0.0005);
        let angle = Array1::from(vec![0.0, 0.0, 0.3, 0.3, 0.2, 0.2]);
        assert!((smallest_change(&angle) - 0.1).abs() < 1e-12);
        assert!(smallest_change(&Array1::zeros(5)) < 1e-300);
    }

    #[test]
    fn a_stiff_drivetrain_is_refused_on_a_soft_rig() {
        let spring = RigSpring::new(4_000.0, 20_000.0);
        let (_, ideal, check) = parts(&known(9_000.0, "N.m/rad"), &known(110.0, "Hz"), &spring);
        assert_eq!(ideal.refused().unwrap().code, "rig_decides");
        assert!(!check.unwrap().passed);
    }
}
