//! The model against closed forms and published figures.
#![allow(clippy::unwrap_used)] // a test

use truerim_analysis::spectra::{WelchOptions, welch};
use vehicle::car::Car;
use vehicle::drive::Drive;
use vehicle::kerb::{Kerb, Shape};
use vehicle::manoeuvre::Manoeuvre;
use vehicle::motion::{Outside, STATES, forces, rate};
use vehicle::road::{Class, Profile};
use vehicle::tyre::{Brush, slip_rate};

const TYRE: Brush = Brush {
    cornering_stiffness_n_per_rad: 60_000.0,
    half_contact_m: 0.07,
};

#[test]
fn the_brush_tyre_is_the_integral_over_its_contact() {
    // Bristles of stiffness c adhere while c (a - x) σ is below μ q(x), q = 3F/(4a) (1 - x²/a²); C = 2 c a².
    let (most, a) = (3500.0, TYRE.half_contact_m);
    let c = TYRE.cornering_stiffness_n_per_rad / (2.0 * a * a);
    for slip in [0.01, 0.05, 0.1, 0.17, 0.3, -0.08] {
        let n = 20_000;
        let (mut side, mut aligning) = (0.0, 0.0);
        for i in 0..n {
            let x = -a + (f64::from(i) + 0.5) * 2.0 * a / f64::from(n);
            let held: f64 = c * (a - x) * slip;
            let most_here = 0.75 * most / a * (1.0 - x * x / (a * a));
            let q = held.clamp(-most_here, most_here) * 2.0 * a / f64::from(n);
            side += q;
            aligning -= q * x;
        }
        let grip = TYRE.grip(slip, most);
        assert!(
            (grip.side_n - side).abs() < 1e-3 * most,
            "{slip}: {grip:?} {side}"
        );
        assert!(
            (grip.aligning_nm - aligning).abs() < 1e-3 * most * a,
            "{slip}: {grip:?} {aligning}"
        );
    }
    // Pacejka, ch. 3 (from memory): a third of the half contact at small slip; aligning torque is greatest at a quarter of full
    // sliding, 27/256 μFa, where 1 - (3/4)³ of the grip is used.
    assert!((TYRE.grip(1e-6, most).trail_m() - a / 3.0).abs() < 1e-6);
    let quarter = TYRE.grip(TYRE.slides_at(most) / 4.0, most);
    assert!((quarter.aligning_nm - 27.0 / 256.0 * most * a).abs() < 1e-9);
    assert!((quarter.side_n / most - 37.0 / 64.0).abs() < 1e-12);
}

#[test]
fn slip_lags_over_the_relaxation_length() {
    // First-order lag: 1 - 1/e of a step after one length.
    let (mut slip, steps) = (0.0, 100_000);
    for _ in 0..steps {
        slip += slip_rate(1.0, slip, 20.0, 0.4) * 0.02 / f64::from(steps);
    }
    assert!((slip - (1.0 - (-1.0_f64).exp())).abs() < 1e-4, "{slip}");
}

#[test]
fn steady_corners_take_the_understeer_gradient() {
    // Small angles: turned = l r/u + K u r.
    let (car, u) = (Car::SALOON, 25.0);
    let mut y = [0.0; STATES];
    y[4] = 0.02;
    let outside = Outside {
        rim_rad: 0.02,
        arms_s: 0.1,
        rear_grip: 1.0,
        road: [[0.0; 2]; 2],
    };
    for _ in 0..20_000 {
        let k = rate(&car, u, &y, &outside);
        y.iter_mut().zip(k).for_each(|(y, k)| *y += 5e-4 * k);
    }
    let turned = car.wheelbase_m() * y[1] / u + car.understeer_rad_s2_per_m() * u * y[1];
    assert!(
        (turned * car.steering.ratio / 0.02 - 1.0).abs() < 0.01,
        "{turned}"
    );
    let across = (forces(&car, &y, &outside).front_n() + forces(&car, &y, &outside).rear_n) / car.mass_kg;
    assert!((across - u * y[1]).abs() < 1e-3 * across);
}

#[test]
fn roads_have_the_density_of_their_class_in_every_octave() {
    // ISO 8608: class A 16e-6 m³ at 0.1 cycles/m, four times as much for each class after it (geometric means of its table).
    assert!((Class::A.density_m3(0.1) - 16e-6).abs() < 1e-18);
    assert!((Class::H.density_m3(0.1) - 262_144e-6).abs() < 1e-12);
    let [left, right] = Profile::tracks(Class::C, 800.0, 0.0, 7);
    for track in [left, right] {
        let heights: Vec<f64> = track.heights_m().collect();
        let options = WelchOptions::half_overlap(1.0 / track.spacing_m(), 1 << 13);
        let (n, density) = welch(&heights, &options).unwrap();
        let mut low = 0.05;
        while low < 1.4 {
            let band: Vec<f64> = n
                .iter()
                .zip(&density)
                .filter(|(n, _)| **n >= low && **n < 2.0 * low)
                .map(|(n, g)| g / Class::C.density_m3(*n))
                .collect();
            let mean = band.iter().sum::<f64>() / band.len() as f64;
            // Some 5 averages a line; neighbouring lines of a window share what they have.
            let most = 4.0 * (1.5 / (5.0 * band.len() as f64)).sqrt() + 0.02;
            assert!((mean - 1.0).abs() < most, "{low}: {mean} {most}");
            low *= 2.0;
        }
    }
}

#[test]
fn torque_falls_before_the_side_force_has_its_peak_and_the_step_is_small_enough() {
    let kerb = Kerb {
        shape: Shape::Round,
        height_m: 0.03,
        length_m: 0.5,
        spacing_m: 1.0,
        teeth: 4,
    };
    let drive = |rate_hz| Drive {
        car: Car::SALOON,
        manoeuvre: Manoeuvre::CornerToLimit,
        speed_m_per_s: 25.0,
        road: None,
        kerb,
        seed: 1,
        rate_hz,
    };
    let moments = drive(500.0).moments().unwrap();
    let greatest = |f: fn(&vehicle::drive::Moment) -> f64| {
        let top = moments
            .iter()
            .filter(|m| m.t_s < 4.0)
            .max_by(|a, b| f(a).total_cmp(&f(b)));
        top.map(|m| m.t_s).unwrap()
    };
    assert!(greatest(|m| m.torque_nm) + 0.1 < greatest(|m| m.side_n.abs()));
    // Steps half as long give the same within a ten-thousandth of the peak.
    let finer = drive(4000.0).moments().unwrap();
    for (a, b) in moments.iter().zip(finer.iter().step_by(8)) {
        assert!((a.torque_nm - b.torque_nm).abs() < 1e-3, "{a:?} {b:?}");
    }
    assert!(
        Drive {
            speed_m_per_s: 1.0,
            ..drive(500.0)
        }
        .moments()
        .is_err()
    );
}
