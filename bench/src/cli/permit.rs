//! Asks before torque is permitted.

use bench_core::bounds::Bounds;
use bench_core::plan::Plan;
use bench_core::rig::{EmergencyStop, Kind};
use bench_core::run::Permit;

use super::exit::Problem;
use super::say::Say;
use crate::session::Bench;

/// The word that permits torque.
const WORD: &str = "arm";

/// Shows limits and cautions and asks; with `yes`, only the rig file's own word counts.
pub(super) fn ask(
    bench: &Bench,
    plan: Option<&Plan>,
    yes: bool,
    operator: &str,
    say: &Say,
) -> Result<Permit, Problem> {
    let rig = &bench.rig;
    let simulated = rig.kind == Kind::Virtual;
    if yes {
        if simulated || rig.emergency_stop == EmergencyStop::HardWired {
            return Ok(Permit::granted("--yes"));
        }
        return Err(Problem::Refused(format!(
            "{}: --yes needs a virtual rig, or rig.emergency_stop = \"hard-wired\"; nothing was armed",
            rig.file
        )));
    }
    say.note(&cautions(bench, plan));
    let answer = say.ask(&format!(
        "Type \"{WORD}\" to permit torque for this run, anything else to leave:"
    ));
    match answer.as_deref() {
        Some(WORD) => Ok(Permit::granted(if operator.is_empty() { "prompt" } else { operator })),
        Some(_) => Err(Problem::Refused("not permitted; nothing was armed".to_owned())),
        None => Err(Problem::Refused(
            "nobody can answer the arming prompt here; use a terminal, or --yes with a rig file that allows it; nothing was armed".to_owned(),
        )),
    }
}

fn cautions(bench: &Bench, plan: Option<&Plan>) -> String {
    let rig = &bench.rig;
    let limits = &Bounds::new(rig, plan).limits;
    let [low, high] = limits.rim_window_rad.map(f64::to_degrees);
    let peak = plan.map_or(0.0, Plan::peak_nm);
    let duration = plan.map_or(0.0, |plan| plan.duration_us() as f64 * 1e-6);
    let simulated = if rig.kind == Kind::Virtual {
        " (virtual: nothing real moves)"
    } else {
        ""
    };
    let faults = if bench.faults.is_empty() {
        String::new()
    } else {
        format!("\n  faults scripted: {}", bench.faults.join("; "))
    };
    format!(
        "\
About to arm: {name}{simulated}{faults}
  unit {model} {serial}, mounting {mounting}
  this run: setpoints up to {peak:.2} N·m, {duration:.0} s
  in force: setpoint {torque:.2} N·m, measured torque {sensor:.2} N·m, rim speed {speed:.2} rad/s,
            rim window {low:.2} to {high:.2} deg, {temperature:.0} degC, watchdog {watchdog:.0} ms
            (all of them with their derivations: truerim check --limits)
  CAUTION   The motor can break a wrist. Hands, cables and loose clothes away from the rim while armed.
            The emergency stop must cut the motor's supply by wire, and be within reach: declared {stop}.
            This program's interlock is no safety function. Follow your local rules; ask a qualified person.",
        name = rig.name,
        model = rig.wheelbase.model,
        serial = rig.wheelbase.serial,
        mounting = rig.mounting.word(),
        torque = limits.torque_nm,
        sensor = limits.sensor_torque_nm,
        speed = limits.rim_speed_rad_s,
        temperature = limits.temperature_degc,
        watchdog = f64::from(limits.watchdog_us) * 1e-3,
        stop = rig.emergency_stop.word(),
    )
}
