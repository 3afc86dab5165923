//! Calibration against numbers from elsewhere: closed forms, published gravity, and a worked series.
#![allow(missing_docs, clippy::unwrap_used, clippy::panic)]

use truerim_analysis::calibration::angle::{counts_per_turn, protractor};
use truerim_analysis::calibration::series::{Readings, Series};
use truerim_analysis::calibration::torque::{Curve, Known, TorqueCalibration, evaluate};
use truerim_analysis::calibration::verify::verify;
use truerim_analysis::calibration::weights::{Place, WeightUncertainty, gravity_m_s2};
use truerim_analysis::calibration::{CalibrationRefusal, class};

fn near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found}, expected {expected} within {tolerance}"
    );
}

/// NIMA TR8350.2, table 3.4 (the poles' value) and its own equator; the free-air gradient at 45° is the textbook
/// 3.086e-6 s⁻² (Torge, Geodesy); 9.80665 is the standard value for 45° of 1901, which is 45 mGal off.
#[test]
fn gravity_is_the_published_one_at_the_poles_and_falls_off_with_height() {
    near(gravity_m_s2(0.0, 0.0).unwrap(), 9.780_325_335_9, 1e-10, "equator");
    let pole = std::f64::consts::FRAC_PI_2;
    near(gravity_m_s2(pole, 0.0).unwrap(), 9.832_184_937_8, 1e-9, "pole");
    near(
        gravity_m_s2(-pole, 0.0).unwrap(),
        9.832_184_937_8,
        1e-9,
        "south pole",
    );
    let middle = std::f64::consts::FRAC_PI_4;
    let fall = gravity_m_s2(middle, 0.0).unwrap() - gravity_m_s2(middle, 1_000.0).unwrap();
    near(fall, 3.086e-3, 2e-6, "fall over 1 km");
    for (latitude, height) in [(2.0, 0.0), (0.5, 20_000.0), (f64::NAN, 0.0)] {
        assert!(gravity_m_s2(latitude, height).is_err());
    }
}

fn place() -> Place {
    Place {
        gravity_m_s2: 9.80665,
        air_kg_m3: 1.2,
        weight_kg_m3: 8_000.0,
        arm_m: 0.25,
    }
}

/// Closed forms m·g·L and m·g·L·(1 − 1.2/8000), and the root of the sum of squares.
#[test]
fn a_dead_weight_has_the_torque_of_the_closed_form() {
    near(
        place().torque_nm(2.0).unwrap(),
        4.902_589_50,
        1e-8,
        "with buoyancy",
    );
    let vacuum = Place {
        air_kg_m3: 0.0,
        ..place()
    };
    near(vacuum.torque_nm(2.0).unwrap(), 4.903_325, 1e-8, "without");
    let u = WeightUncertainty {
        mass: 2e-5,
        gravity: 1e-5,
        arm: 1e-4,
        buoyancy: 5e-6,
    };
    near(u.combined(), 1.025_914e-4, 1e-10, "uncertainty");
    for bad in [0.0, -1.0, f64::NAN] {
        assert!(place().torque_nm(bad).is_err());
        let arm = Place {
            arm_m: bad,
            ..place()
        };
        assert!(arm.torque_nm(1.0).is_err());
    }
    let heavy_air = Place {
        air_kg_m3: 9_000.0,
        ..place()
    };
    assert!(heavy_air.torque_nm(1.0).is_err());
}

fn series(mounting: u32, rising: [f64; 5], falling: Option<[f64; 5]>) -> Series {
    Series {
        mounting,
        zero_before: 0.0,
        rising: rising.to_vec(),
        falling: falling.map(|row| row.to_vec()),
        zero_after: Some(0.0),
    }
}

/// Five steps of a sensor in mV/V, two series in one mounting and one turned.
fn worked() -> (Readings, Known) {
    let readings = Readings {
        torque_nm: vec![1.0, 2.0, 3.0, 4.0, 5.0],
        series: vec![
            series(
                1,
                [0.20013, 0.40031, 0.60036, 0.80052, 1.00060],
                Some([0.20021, 0.40043, 0.60047, 0.80058, 1.00060]),
            ),
            series(1, [0.20011, 0.40027, 0.60038, 0.80050, 1.00056], None),
            series(
                2,
                [0.20019, 0.40022, 0.60044, 0.80043, 1.00071],
                Some([0.20027, 0.40033, 0.60053, 0.80049, 1.00071]),
            ),
        ],
    };
    let known = Known {
        loads: 1e-4,
        resolution: 2e-5,
        linearity: 1e-3,
        hysteresis: 1e-3,
        reversibility: true,
        curve: Curve::Straight,
    };
    (readings, known)
}

fn evaluated(
    change: impl FnOnce(&mut Readings, &mut Known),
) -> Result<TorqueCalibration, CalibrationRefusal> {
    let (mut readings, mut known) = worked();
    change(&mut readings, &mut known);
    evaluate(&readings, &known)
}

/// Expected numbers computed apart from this crate, in Python, from the guideline's formulas (EURAMET cg-14, from memory).
#[test]
fn a_worked_series_gives_the_numbers_of_the_guideline() {
    let found = evaluated(|_, _| {}).unwrap();
    near(found.slope, 0.200_128_454_5, 1e-9, "slope");
    let expected = [
        ("b", [0.029976, 0.022485, 0.013324, 0.011243, 0.010993]),
        ("b'", [0.009994, 0.009993, 0.003331, 0.002498, 0.003998]),
        ("h", [0.039968, 0.028731, 0.016656, 0.007496, 0.0]),
        ("fa", [0.015763, 0.002021, 0.002438, -0.004849, 0.001272]),
        ("W", [0.040586, 0.031315, 0.024419, 0.022447, 0.021668]),
        (
            "fa cubic",
            [
                -0.000_095_85,
                -0.002_802_08,
                0.003_800_25,
                -0.002_149_65,
                0.000_459_85,
            ],
        ),
    ];
    for (name, row) in expected {
        for (step, expected) in found.steps.iter().zip(row) {
            let value = match name {
                "b" => step.b_pct,
                "b'" => step.b_prime_pct,
                "h" => step.h_pct.unwrap(),
                "fa" => step.fa_pct,
                "W" => step.expanded_pct,
                _ => step.fa_cubic_pct,
            };
            near(
                value,
                expected,
                1e-5,
                &format!("{name} at {} N·m", step.torque_nm),
            );
        }
    }
    near(found.expanded_pct, 0.040586, 1e-5, "W over the range");
    near(
        found.gain_uncertainty(),
        0.020293e-2,
        1e-7,
        "standard uncertainty",
    );
    assert_eq!(found.class, Some(0.05));
    // The other direction, and a sensor wired the other way round, give the same.
    let turned = evaluated(|readings, _| readings.torque_nm.iter_mut().for_each(|t| *t = -*t)).unwrap();
    near(turned.slope, -found.slope, 1e-12, "slope");
    near(turned.expanded_pct, found.expanded_pct, 1e-12, "W");
    // The same readings on top of a zero.
    let raised = evaluated(|readings, _| {
        for series in &mut readings.series {
            series.zero_before += 0.03;
            series.zero_after = series.zero_after.map(|zero| zero + 0.03);
            series
                .rising
                .iter_mut()
                .chain(series.falling.iter_mut().flatten())
                .for_each(|x| *x += 0.03);
        }
    });
    near(raised.unwrap().slope, found.slope, 1e-12, "slope above a zero");
    // By the cubic the interpolation's part is smaller.
    let cubic = evaluated(|_, known| known.curve = Curve::Cubic).unwrap();
    assert!(cubic.steps[0].expanded_pct < found.steps[0].expanded_pct);
}

#[test]
fn classes_get_coarser_with_each_characteristic() {
    for pair in class::CLASSES.windows(2) {
        let [fine, coarse] = pair else { panic!() };
        assert!(fine.class < coarse.class && fine.b < coarse.b && fine.b_prime < coarse.b_prime);
        assert!(fine.fa < coarse.fa && fine.f0 < coarse.f0 && fine.h < coarse.h);
    }
    let zero = evaluated(|readings, _| readings.series[0].zero_after = Some(0.000_4)).unwrap();
    near(zero.zero_pct.unwrap(), 0.039_97, 1e-4, "zero error");
    assert_eq!(zero.class, Some(0.2));
    let repeat = evaluated(|readings, _| readings.series[1].rising[0] = 0.2006).unwrap();
    assert_eq!(repeat.class, Some(0.5)); // b' 0.235 %
    let unknown = evaluated(|readings, _| readings.series.iter_mut().for_each(|s| s.zero_after = None));
    assert_eq!(unknown.unwrap().class, None);
    assert_eq!(
        evaluated(|_, known| known.reversibility = false).unwrap().class,
        None
    );
}

#[test]
fn readings_that_make_no_calibration_are_refused_with_their_place() {
    use CalibrationRefusal as R;
    let few = evaluated(|readings, _| readings.torque_nm.truncate(4));
    assert!(
        matches!(
            few,
            Err(R::TooFew {
                got: 4,
                needed: 5,
                ..
            })
        ),
        "{few:?}"
    );
    let order = evaluated(|readings, _| readings.torque_nm.swap(1, 2));
    assert!(matches!(order, Err(R::WrongOrder { step: 3, .. })), "{order:?}");
    let twice = evaluated(|readings, _| readings.torque_nm[3] = 3.0);
    assert!(matches!(twice, Err(R::Duplicate { step: 4, .. })), "{twice:?}");
    let signs = evaluated(|readings, _| readings.torque_nm[0] = -1.0);
    assert!(matches!(signs, Err(R::SignMix { .. })), "{signs:?}");
    let zero = evaluated(|readings, _| readings.torque_nm[0] = 0.0);
    assert!(matches!(zero, Err(R::SignMix { step: 1, .. })), "{zero:?}");
    let reading = evaluated(|readings, _| readings.series[2].rising[1] = -0.4);
    assert!(
        matches!(
            reading,
            Err(R::ReadingSign {
                series: 3,
                step: 2,
                ..
            })
        ),
        "{reading:?}"
    );
    let falling = evaluated(|readings, _| readings.series[2].falling = None);
    assert!(matches!(falling, Err(R::NoFalling { series: 3 })), "{falling:?}");
    let step = evaluated(|readings, _| {
        readings.series[1].rising.pop();
    });
    assert!(
        matches!(
            step,
            Err(R::StepMissing {
                series: 2,
                got: 4,
                steps: 5,
                ..
            })
        ),
        "{step:?}"
    );
    let mountings = evaluated(|readings, _| readings.series[2].mounting = 1);
    assert!(
        matches!(
            mountings,
            Err(R::TooFew {
                things: "mountings",
                ..
            })
        ),
        "{mountings:?}"
    );
    let repeat = evaluated(|readings, _| readings.series[1].mounting = 3);
    assert!(
        matches!(
            repeat,
            Err(R::TooFew {
                what: "repeatability",
                ..
            })
        ),
        "{repeat:?}"
    );
    let number = evaluated(|readings, _| readings.series[0].rising[0] = f64::NAN);
    assert!(matches!(number, Err(R::Value { .. })), "{number:?}");
    let known = evaluated(|_, known| known.loads = -1.0);
    assert!(matches!(known, Err(R::Value { .. })), "{known:?}");
    // Said in words that name the place and what to do.
    let text = evaluated(|readings, _| readings.torque_nm.swap(1, 2))
        .unwrap_err()
        .to_string();
    assert!(
        text.contains("step 3") && text.contains("in order of size"),
        "{text}"
    );
}

/// An arm that gives way above a load bends the line in all series alike; one that sticks comes back late.
#[test]
fn a_loose_arm_is_refused_whether_it_bends_the_line_or_comes_back_late() {
    let bent = evaluated(|readings, _| {
        for series in &mut readings.series {
            for row in [Some(&mut series.rising), series.falling.as_mut()]
                .into_iter()
                .flatten()
            {
                for reading in row.iter_mut().skip(3) {
                    *reading *= 0.99;
                }
            }
        }
    });
    assert!(
        matches!(bent, Err(CalibrationRefusal::LooseByLine { .. })),
        "{bent:?}"
    );
    let late = evaluated(|readings, _| {
        for series in &mut readings.series {
            series
                .falling
                .iter_mut()
                .flatten()
                .take(4)
                .for_each(|reading| *reading *= 1.004);
        }
    });
    assert!(
        matches!(late, Err(CalibrationRefusal::LooseByHysteresis { .. })),
        "{late:?}"
    );
    // What the data sheet allows is no loose arm.
    assert!(
        evaluated(|readings, known| {
            known.hysteresis = 5e-3;
            for series in &mut readings.series {
                series
                    .falling
                    .iter_mut()
                    .flatten()
                    .take(4)
                    .for_each(|reading| *reading *= 1.004);
            }
        })
        .is_ok()
    );
}

#[test]
fn a_check_weight_holds_within_the_uncertainties_and_not_beyond() {
    // Closed form: 200·√(3² + 4² + 0²)e-4 = 0.1 %.
    let within = verify([2.0, 2.001_9], 1.0, [3e-4, 4e-4, 0.0]).unwrap();
    near(within.allowed_pct, 0.1, 1e-12, "allowed");
    near(within.deviation_pct, 0.095, 1e-9, "deviation");
    assert!(within.holds);
    assert!(!verify([2.0, 2.002_1], 1.0, [3e-4, 4e-4, 0.0]).unwrap().holds);
    assert!(!verify([-2.0, 2.0], 1.0, [3e-4, 4e-4, 0.0]).unwrap().holds);
    // The sensitivity that the calibration found is no deviation.
    near(
        verify([2.0, 2.02], 1.01, [3e-4, 4e-4, 0.0])
            .unwrap()
            .deviation_pct,
        0.0,
        1e-9,
        "deviation",
    );
    assert!(verify([0.0, 0.0], 1.0, [0.0; 3]).is_err());
    assert!(verify([1.0, f64::NAN], 1.0, [0.0; 3]).is_err());
}

#[test]
fn the_index_gives_the_counts_of_a_turn() {
    // 4,096.25 counts a turn, read rounded down: (40,962 − 0)/10.
    let passes: Vec<f64> = (0..11).map(|i| (4_096.25 * f64::from(i)).floor()).collect();
    let found = counts_per_turn(&passes).unwrap();
    near(found.value, 4_096.2, 1e-9, "counts a turn");
    assert!((found.value - 4_096.25).abs() < found.expanded && found.expanded < 0.5);
    let backward: Vec<f64> = passes.iter().map(|count| -count).collect();
    near(
        counts_per_turn(&backward).unwrap().value,
        -4_096.2,
        1e-9,
        "counts a turn backward",
    );
    assert!(counts_per_turn(&passes[..3]).is_err());
    let mut missed = passes.clone();
    missed.remove(5);
    assert!(counts_per_turn(&missed).is_err());
    let mut twice = passes;
    twice.insert(5, twice[5]);
    assert!(counts_per_turn(&twice).is_err());
}

#[test]
fn a_protractor_tells_offset_scale_and_eccentricity() {
    let angles: Vec<f64> = (0..25).map(|i| f64::from(i) * 15.0_f64.to_radians()).collect();
    // Noise of a protractor that no formula made: the decimals of e, ±0.5 mrad.
    let digits = [
        7, 1, 8, 2, 8, 1, 8, 2, 8, 4, 5, 9, 0, 4, 5, 2, 3, 5, 3, 6, 0, 2, 8, 7, 4,
    ];
    let indicated: Vec<f64> = angles
        .iter()
        .zip(digits)
        .map(|(angle, digit)| {
            0.05 + 1.002 * angle + 4e-3 * (angle - 1.2).cos() + (f64::from(digit) - 4.5) * 1e-4
        })
        .collect();
    let found = protractor(&angles, &indicated, 2e-4).unwrap();
    near(found.scale.value, 1.002, found.scale.expanded, "scale");
    near(found.offset_rad.value, 0.05, found.offset_rad.expanded, "offset");
    let once = found.once_per_turn_rad.unwrap();
    near(once.value, 4e-3, once.expanded, "once per turn");
    near(found.once_per_turn_at_rad.unwrap(), 1.2, 0.1, "where");
    assert!(found.scale.expanded < 5e-4 && once.expanded < 1e-3);
    // Half a turn cannot tell the once-per-turn error, and says so; less than 60° tells nothing.
    let half = protractor(&angles[..13], &indicated[..13], 2e-4).unwrap();
    assert!(half.once_per_turn_rad.is_none() && half.residual_rad > found.residual_rad);
    let narrow: Vec<f64> = angles[..8].iter().map(|a| a / 10.0).collect();
    assert!(protractor(&narrow, &indicated[..8], 2e-4).is_err());
    assert!(protractor(&angles[..7], &indicated[..7], 2e-4).is_err());
    let mut twice = angles.clone();
    twice[4] = twice[3];
    assert!(protractor(&twice, &indicated, 2e-4).is_err());
}
