//! A document made up for tests: an invented belt unit whose curves come from closed forms.

use super::{sample_driver, sample_drivetrain};
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome, Refused};

use crate::fitting::{
    Conditions, Curves, DelayCurve, Ending, FitDocument, FrequencyCurve, LatencyCurve, Measurand, ModelFacts,
    Program, Quantity, RecordingFacts, RigFacts, RigSpring, RootFacts, SCHEMA, SCHEMA_VERSION, SensorFacts,
    StaticMapCurve, StepCurves, Temperature, TraceCurve, UnitFacts,
};

const LATENCY_S: f64 = 0.004_031;
const F_HZ: f64 = 93.4;
const ZETA: f64 = 0.085;

fn estimate(value: f64, unit: &str, n: usize, parts: &[(&str, f64)]) -> Outcome {
    let budget = parts.iter().enumerate().map(|(i, (source, u))| match i {
        0 if n > 1 => Contribution::type_a(*source, *u, n as f64 - 1.0),
        _ => Contribution::type_b(*source, *u),
    });
    let made = Estimate::from_budget(value, unit, n, "made up for a test", budget.collect()).unwrap();
    Outcome::Estimate(made.with_checks([Check::new("residual", true, "1.1 times the noise, at most 1.5")]))
}

pub(crate) fn refused(code: &str, message: &str) -> Outcome {
    Outcome::Refused(Refused {
        code: code.into(),
        message: message.into(),
    })
}

pub(crate) fn conditions(amplitude: f64, preload: f64, n: usize) -> Conditions {
    Conditions {
        mounting: "clamped".into(),
        amplitude_nm: Some(amplitude),
        preload_nm: Some(preload),
        temperature: Some(Temperature {
            channel: "motor temperature".into(),
            mean_degc: 31.2,
            min_degc: 30.1,
            max_degc: 32.4,
        }),
        n,
        rig_spring_nm_per_rad: Some(3333.333),
    }
}

pub(crate) fn measurand(
    quantity: Quantity,
    group: &str,
    conditions: Conditions,
    result: Outcome,
) -> Measurand {
    let text = quantity.text();
    let headline = group.is_empty();
    Measurand {
        id: if headline {
            text.id.into()
        } else {
            format!("{}@{group}", text.id)
        },
        quantity,
        headline,
        group: group.into(),
        name: text.name.into(),
        definition: text.definition.into(),
        source: text.source.into(),
        shown_in: text.shown_in,
        conditions,
        result,
    }
}

fn measurands() -> Vec<Measurand> {
    use Quantity::*;
    let step = || conditions(1.4, 1.4, 60);
    let chirp = || conditions(1.4, 1.505, 8);
    let clock = ("declared delay of the torque sensor", 10e-6);
    let mut list = vec![
        measurand(
            Latency,
            "",
            step(),
            estimate(LATENCY_S, "s", 60, &[("scatter of repeats", 38e-6), clock]),
        ),
        measurand(
            LatencyJitter,
            "",
            step(),
            estimate(0.289e-3, "s", 60, &[("scatter of repeats", 21e-6)]),
        ),
        measurand(
            TransitionDuration,
            "",
            step(),
            estimate(1.962e-3, "s", 60, &[("scatter of repeats", 14e-6)]),
        ),
        measurand(
            Overshoot,
            "",
            step(),
            estimate(0.712, "1", 60, &[("scatter of repeats", 0.004)]),
        ),
        measurand(
            SettlingTime,
            "",
            step(),
            estimate(0.0812, "s", 60, &[("scatter of repeats", 1.1e-3), clock]),
        ),
        measurand(
            SteadyGain,
            "",
            step(),
            estimate(
                0.9713,
                "1",
                60,
                &[("scatter of repeats", 0.0011), ("torque gain", 0.00097)],
            ),
        ),
        measurand(
            Bandwidth,
            "",
            chirp(),
            estimate(141.7, "Hz", 8, &[("scatter of repeats", 0.8)]),
        ),
        measurand(
            FlatBand,
            "",
            chirp(),
            estimate(50.9, "Hz", 8, &[("scatter of repeats", 0.42)]),
        ),
        measurand(
            PhaseDelay,
            "",
            chirp(),
            estimate(4.07e-3, "s", 8, &[("scatter of repeats", 31e-6), clock]),
        ),
        measurand(
            DelayAgreement,
            "",
            step(),
            estimate(-0.039e-3, "s", 60, &[("scatter of both", 49e-6)]),
        ),
        measurand(
            Resonance,
            "",
            chirp(),
            estimate(F_HZ, "Hz", 8, &[("scatter of repeats", 0.55)]),
        ),
        measurand(
            ResonanceDamping,
            "",
            chirp(),
            refused(
                "half_power",
                "the peak is not twice as high as its surroundings, so its damping cannot be told from them; raise \
                 the amplitude",
            ),
        ),
        measurand(SensorDelay, "", step(), estimate(0.16e-3, "s", 0, &[clock])),
        measurand(
            DeadTime,
            "",
            step(),
            estimate(3.5e-3, "s", 60, &[("phase of the comb", 9e-6), clock]),
        ),
        measurand(
            SlewLargest,
            "",
            step(),
            refused("too_few_repeats", "a single repeat has no spread"),
        ),
    ];
    for (group, amplitude, preload) in [("0 to 2.8 N·m", 2.8, 0.0), ("0 to −2.8 N·m", 2.8, 0.0)] {
        let at = || conditions(amplitude, preload, 40);
        list.push(measurand(
            Latency,
            group,
            at(),
            estimate(4.31e-3, "s", 40, &[("scatter of repeats", 50e-6), clock]),
        ));
        list.push(measurand(
            Overshoot,
            group,
            at(),
            estimate(0.655, "1", 40, &[("scatter of repeats", 0.006)]),
        ));
    }
    list
}

/// Step response of `ω²/(s² + 2ζωs + ω²)`.
fn second_order(t: f64) -> f64 {
    if t <= 0.0 {
        return 0.0;
    }
    let w = std::f64::consts::TAU * F_HZ;
    let damped = (1.0 - ZETA * ZETA).sqrt();
    1.0 - (-ZETA * w * t).exp() * ((w * damped * t).cos() + ZETA / damped * (w * damped * t).sin())
}

fn trace() -> TraceCurve {
    let t_s: Vec<f64> = (0..200).map(|i| 0.02 * f64::from(i)).collect();
    let torque = |gain: f64| -> Vec<f64> { t_s.iter().map(|t| gain * (1.5 * t).sin()).collect() };
    TraceCurve {
        group: "corner".into(),
        commanded_nm: torque(2.0),
        arrived_nm: torque(1.9),
        low_nm: torque(1.88),
        high_nm: torque(1.92),
        shift_s: 0.008,
        limit_s: Some([1.05, 2.1, 0.05]),
        drop_nm: Some(2.0),
        bands_hz: vec![[0.0, 1.0], [1.0, 2.0]],
        gain: vec![[0.94, 0.95, 0.96], [0.9, 0.93, 0.96]],
        coherence: vec![0.999, 0.98],
        t_s,
        conditions: conditions(1.4, 0.0, 5),
    }
}

fn static_map() -> StaticMapCurve {
    let command: Vec<f64> = (-8..=8).map(|i| 0.5 * f64::from(i)).collect();
    let torque = |way: f64| command.iter().map(|u| Some(1.02 * u + way)).collect();
    StaticMapCurve {
        conditions: conditions(1.4, 0.0, 3),
        rising_nm: torque(-0.1),
        falling_nm: torque(0.1),
        command_nm: command,
        gain: Some(1.02),
        offset_nm: Some(0.0),
    }
}

fn steps() -> StepCurves {
    let t_s: Vec<f64> = (-20..480).map(|k| f64::from(k) * 0.25e-3).collect();
    let at = |shift: f64, noise: f64| -> Vec<f64> {
        t_s.iter()
            .map(|t| 1.4 + 1.36 * second_order(t - LATENCY_S - shift) + noise * (t * 3.1e4).sin())
            .collect()
    };
    let low = at(0.45e-3, -0.004);
    let high = at(-0.45e-3, 0.004);
    StepCurves {
        group: "1.4 to 2.8 N·m".into(),
        conditions: conditions(1.4, 1.4, 60),
        median_nm: at(0.0, 0.001),
        p05_nm: low.iter().zip(&high).map(|(a, b)| a.min(*b) - 0.01).collect(),
        p95_nm: low.iter().zip(&high).map(|(a, b)| a.max(*b) + 0.01).collect(),
        repeats_nm: (0..24)
            .map(|k| at((f64::from(k) / 23.0 - 0.5) * 1e-3, 0.006))
            .collect(),
        from_nm: 1.4,
        to_nm: 2.8,
        low_nm: 1.4,
        high_nm: 2.76,
        t10_s: LATENCY_S + 0.8e-3,
        t90_s: LATENCY_S + 2.7e-3,
        latency_s: Some(LATENCY_S),
        model_t_s: t_s
            .iter()
            .copied()
            .filter(|t| *t > LATENCY_S && *t < 0.02)
            .collect(),
        model_nm: t_s
            .iter()
            .filter(|t| **t > LATENCY_S && **t < 0.02)
            .map(|t| 1.4 + 1.36 * second_order(t - LATENCY_S))
            .collect(),
        t_s,
    }
}

fn frequency() -> FrequencyCurve {
    let f_hz: Vec<f64> = (0..220)
        .map(|k| 0.6 * 500f64.powf(f64::from(k) / 219.0))
        .collect();
    let response = |f: f64| -> (f64, f64) {
        let r = f / F_HZ;
        let (re, im) = (1.0 - r * r, 2.0 * ZETA * r);
        (0.97 / re.hypot(im), -im.atan2(re))
    };
    let gain_db: Vec<f64> = f_hz.iter().map(|f| 20.0 * response(*f).0.log10()).collect();
    let error = |f: &f64| 0.15 + 0.004 * f;
    let bare: Vec<f64> = f_hz.iter().map(|f| response(*f).1.to_degrees()).collect();
    FrequencyCurve {
        group: "1.4 N·m on 1.505 N·m".into(),
        excitation: "chirp".into(),
        conditions: conditions(1.4, 1.505, 8),
        gain_low_db: gain_db.iter().zip(&f_hz).map(|(g, f)| g - error(f)).collect(),
        gain_high_db: gain_db.iter().zip(&f_hz).map(|(g, f)| g + error(f)).collect(),
        gain_db,
        phase_deg: bare
            .iter()
            .zip(&f_hz)
            .map(|(p, f)| p - 360.0 * f * LATENCY_S)
            .collect(),
        phase_band_deg: f_hz.iter().map(|f| 1.0 + 0.03 * f).collect(),
        phase_without_delay_deg: Some(bare),
        coherence: f_hz.iter().map(|f| 0.998 - 0.3 * (f / 300.0).powi(3)).collect(),
        least_coherence: 0.5,
        reference_db: Some(-0.25),
        bandwidth_hz: Some(141.7),
        flat_band_hz: Some(50.9),
        resonance_hz: Some([92.1, F_HZ, 94.7]),
        group_delay: DelayCurve {
            delay_s: f_hz.iter().map(|_| LATENCY_S + 0.000_4).collect(),
            band_s: f_hz.iter().map(|f| 0.000_05 + 1e-6 * f).collect(),
            f_hz: f_hz.clone(),
        },
        distortion_db: None,
        noise_db: None,
        f_hz,
    }
}

/// The document.
fn model() -> ModelFacts {
    let root = |kind: &str, pair: bool, f_hz: f64, damping: f64| RootFacts {
        kind: kind.into(),
        pair,
        frequency: estimate(f_hz, "Hz", 8, &[("noise", 0.01 * f_hz)]),
        damping: estimate(damping, "1", 8, &[("noise", 0.01 * damping)]),
    };
    ModelFacts {
        group: "1.4 N·m on 1.5 N·m, 0.5 to 300 Hz".into(),
        conditions: conditions(1.4, 1.505, 8),
        poles: 3,
        zeros: 1,
        range_hz: [0.5, 270.0],
        residual: 1.73,
        lines: 430,
        orders_tried: 12,
        gain: estimate(0.9713, "1", 8, &[("noise", 0.001)]),
        delay: refused("made_up", "no delay for a test"),
        roots: vec![
            root("pole", true, F_HZ, ZETA),
            root("pole", false, 410.0, 1.0),
            root("zero", false, 66.0, 1.0),
        ],
        checks: vec![Check::new(
            "residual of the rational fit",
            false,
            "1.73, at most 1.5",
        )],
    }
}

pub(crate) fn document() -> FitDocument {
    let per_repeat_s =
        (0..60u32).map(|k| (k != 17).then(|| LATENCY_S + (f64::from(k * 37 % 60) / 59.0 - 0.5) * 1e-3));
    FitDocument {
        schema: SCHEMA.into(),
        schema_version: SCHEMA_VERSION,
        software: Program {
            name: "truerim".into(),
            version: "0.1.0".into(),
            build: String::new(),
        },
        recording: RecordingFacts {
            file: "quick.h5".into(),
            run_id: "R-0001".into(),
            created: "2026-03-14T10:20:30+01:00".into(),
            software: Program {
                name: "truerim".into(),
                version: "0.1.0".into(),
                build: "debug".into(),
            },
            operator: "bench 2".into(),
            mounting: "clamped".into(),
            unit: UnitFacts {
                model: "Marten 7".into(),
                serial: "VB-0001".into(),
                firmware: "0.1".into(),
            },
            rig: RigFacts {
                name: "Belt unit on the clamp".into(),
                kind: "virtual".into(),
                emergency_stop: "none".into(),
                fixture: "Plate A".into(),
                full_scale_nm: 8.0,
                update_period_s: Some(1e-3),
            },
            sensor: SensorFacts {
                model: "Heron 20".into(),
                serial: "TS-0001".into(),
                range_nm: Some(20.0),
                calibrated: "2026-03-02".into(),
                due: "2028-03-02".into(),
                certificate: "V-2026-001".into(),
                gain_uncertainty: Some(0.001),
                zero_uncertainty_nm: Some(0.005),
                group_delay_s: Some(0.16e-3),
                delay_uncertainty_s: Some(10e-6),
            },
            files: vec!["belt.toml".into(), "quick.toml".into()],
            file_sha256: Vec::new(),
            seed: 7,
            sample_rate_hz: 4000.0,
            duration_s: 72.4,
            samples: 289_600,
            completion: Ending {
                state: "complete".into(),
                cause: String::new(),
            },
            seal: Some("5f".repeat(32)),
            seal_method: Some("sha256-objects-1".into()),
            extra: vec![("clamp torque".into(), "12 N·m".into())],
        },
        rig_spring: RigSpring::new(4000.0, 20_000.0),
        measurands: measurands(),
        models: vec![model()],
        curves: Curves {
            static_map: Some(static_map()),
            trace: Some(trace()),
            shock: Some(sample_driver::shock()),
            resolution: Some(sample_driver::resolution()),
            heat: Some(sample_driver::heat()),
            loops: Some(sample_drivetrain::loops()),
            stops: sample_drivetrain::stops(),
            friction: Some(sample_drivetrain::friction()),
            cogging: Some(sample_drivetrain::cogging()),
            steps: Some(steps()),
            latency: Some(LatencyCurve {
                group: "1.4 to 2.8 N·m".into(),
                conditions: conditions(1.4, 1.4, 60),
                per_repeat_s: per_repeat_s.collect(),
                update_period_s: Some(1e-3),
            }),
            frequency: Some(frequency()),
        },
        quality: vec![
            Check::new("completion", true, "the whole procedure was played"),
            Check::new("lost samples", true, "0 of 289600 lost, none allowed"),
            Check::new("saturation", true, "no channel reached the end of its converter"),
            Check::new(
                "clipped setpoint",
                true,
                "largest departure from the plan 0.0001 N·m",
            ),
            Check::new("zero drift", true, "2.1 mN·m from start to end, at most 28 mN·m"),
        ],
    }
}
