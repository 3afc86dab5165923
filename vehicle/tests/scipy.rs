//! A whole drive against another integration: scipy's DOP853 on the equations of motion, written down again in
//! `tests/reference/vehicle/corner.py` (scipy 1.17.1).
#![allow(clippy::unwrap_used)] // a test

use vehicle::car::Car;
use vehicle::drive::Drive;
use vehicle::kerb::{Kerb, Shape};
use vehicle::manoeuvre::Manoeuvre;

/// Time (s), torque at the rim (N·m), angle of the rim (rad), slip angle of the front (rad), at 90 km/h.
const ROWS: [[f64; 4]; 19] = [
    [0.75, 0.442948, -0.029006, -0.0014564],
    [1.00, 2.335063, -0.157497, -0.0085119],
    [1.50, 7.065125, -0.715535, -0.0457224],
    [2.00, 6.209114, -1.542917, -0.1230811],
    [2.50, 6.112962, -2.418072, -0.2284516],
    [2.75, 6.151871, -2.799012, -0.2736759],
    [3.00, 6.183123, -3.106502, -0.3086050],
    [3.25, 6.204690, -3.319586, -0.3303531],
    [3.50, 6.215204, -3.423743, -0.3367252],
    [4.00, 6.217074, -3.442287, -0.3098365],
    [5.00, 6.217087, -3.442413, -0.2762290],
    [5.50, 6.182041, -3.095830, -0.2693306],
    [5.75, 6.132367, -2.607817, -0.2331740],
    [6.00, 6.068511, -1.985065, -0.1830105],
    [6.25, 6.098938, -1.322162, -0.1301135],
    [6.50, 6.963191, -0.720011, -0.0864756],
    [7.00, 3.237521, -0.041446, -0.0126175],
    [7.50, 0.010414, -0.000279, -0.0000337],
    [8.00, 0.000095, -0.000002, -0.0000003],
];

#[test]
fn a_corner_past_the_limit_is_scipys() {
    let drive = Drive {
        car: Car::SALOON,
        manoeuvre: Manoeuvre::CornerToLimit,
        speed_m_per_s: 25.0,
        road: None,
        kerb: Kerb {
            shape: Shape::Round,
            height_m: 0.03,
            length_m: 0.5,
            spacing_m: 1.0,
            teeth: 1,
        },
        seed: 1,
        rate_hz: 500.0,
    };
    let moments = drive.moments().unwrap();
    let greatest = ROWS.iter().map(|row| row[1].abs()).fold(0.0, f64::max);
    assert!(greatest > 5.0);
    for [t_s, torque_nm, rim_rad, slip_rad] in ROWS {
        let found = &moments[(500.0 * t_s).round() as usize];
        assert!(
            (found.torque_nm - torque_nm).abs() < 1e-4 * greatest,
            "{t_s}: {found:?} {torque_nm}"
        );
        assert!(
            (found.rim_rad - rim_rad).abs() < 1e-4,
            "{t_s}: {found:?} {rim_rad}"
        );
        assert!(
            (found.slip_rad - slip_rad).abs() < 2e-5,
            "{t_s}: {found:?} {slip_rad}"
        );
    }
}
