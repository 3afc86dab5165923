//! Plans of one segment on the rig of the fixtures.

use bench_core::{
    plan::{Delivered, Plan, Window},
    procedure::Procedure,
    rig::Rig,
};

use super::RIG;

pub(crate) fn rig() -> Rig {
    Rig::from_toml("r.toml", RIG).unwrap_or_else(|e| panic!("{e}"))
}

/// A procedure with one segment.
pub(crate) fn text(segment: &str) -> String {
    format!(
        "[procedure]\nname = \"p\"\npurpose = \"x\"\nmounting = \"clamped\"\nsample_rate = \"4 kHz\"\n\
         [approach]\nlevel = \"5 %\"\nhold = \"200 ms\"\nrest = \"300 ms\"\ngain = [\"50 %\", \"150 %\"]\n\
         [[segment]]\nname = \"s\"\nrest = \"50 ms\"\n{segment}"
    )
}

pub(crate) fn plan(segment: &str, seed: u64) -> Plan {
    Procedure::from_toml("p.toml", &text(segment))
        .and_then(|procedure| procedure.plan(&rig(), seed))
        .unwrap_or_else(|findings| panic!("{findings}"))
}

pub(crate) fn delivered(plan: &Plan) -> Delivered {
    plan.delivered(&rig()).remove(0)
}

/// The setpoints of a window about its preload.
pub(crate) fn values(plan: &Plan, window: &Window) -> Vec<f64> {
    let ticks = (window.start_us..window.end_us).step_by(250);
    ticks
        .map(|tick| plan.setpoint_nm(tick) - window.preload_nm)
        .collect()
}
