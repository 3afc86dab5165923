//! Made-up curves of what a driver gets, for tests.

use super::sample::conditions;
use crate::fitting::{
    GrainCurve, HeatCurve, PreloadCurve, ResolutionCurve, ShockCurve, ShockLine, TrainCurve,
};

pub(super) fn shock() -> ShockCurve {
    let line = |sign: f64| ShockLine {
        amplitude_nm: sign,
        preload_nm: 1.4 * sign,
        width_s: vec![4e-3, 8e-3, 15e-3, 30e-3, 60e-3],
        retention: [0.6, 0.9, 1.4, 1.1, 1.0]
            .map(|r| [r - 0.02, r, r + 0.02])
            .to_vec(),
    };
    let t_s: Vec<f64> = (0..400).map(|i| 0.5e-3 * f64::from(i)).collect();
    let torque = |gain: f64| -> Vec<f64> { t_s.iter().map(|t| gain * (150.0 * t).sin().max(0.0)).collect() };
    ShockCurve {
        conditions: conditions(1.4, 1.4, 12),
        lines: vec![line(1.0), line(-1.0)],
        train: Some(TrainCurve {
            group: "kerb".into(),
            spacing_s: 0.042,
            commanded_nm: torque(1.0),
            arrived_nm: torque(0.8),
            late_s: 4e-3,
            t_s,
        }),
    }
}

pub(super) fn resolution() -> ResolutionCurve {
    let sizes = [-0.1, -0.02, -0.005, 0.0, 0.005, 0.02, 0.1];
    ResolutionCurve {
        conditions: conditions(1.4, 1.4, 52),
        preloads: [0.0, 1.4]
            .map(|preload_nm| PreloadCurve {
                preload_nm,
                size_nm: sizes.to_vec(),
                change_nm: sizes.map(|s| if s < 0.0 { 0.7 * s } else { s }).to_vec(),
                sd_nm: vec![5e-4; 7],
                needed_nm: 1.6e-3,
            })
            .to_vec(),
        grain: [0.0, 1.4]
            .map(|level_nm| GrainCurve {
                level_nm,
                f_hz: (1..200).map(|i| 5.0 * f64::from(i)).collect(),
                density: (1..200).map(|i| 6e-5 + 1e-4 * level_nm / f64::from(i)).collect(),
            })
            .to_vec(),
    }
}

pub(super) fn heat() -> HeatCurve {
    let t_s: Vec<f64> = (0..300).map(|i| 5.0 * f64::from(i)).collect();
    let warm = |t: &f64| 22.0 + 15.0 * (1.0 - (-t / 600.0).exp());
    HeatCurve {
        conditions: conditions(1.4, 0.0, 20),
        temperature_degc: t_s.iter().map(warm).collect(),
        model_degc: t_s.iter().map(|t| warm(t) + 0.1).collect(),
        commanded_nm: t_s
            .iter()
            .map(|t| if t % 120.0 < 60.0 { 1.4 } else { -1.4 })
            .collect(),
        torque_nm: t_s
            .iter()
            .map(|t| if t % 120.0 < 60.0 { 1.3 } else { -1.4 })
            .collect(),
        t_s,
    }
}
