//! `correct`: the command for a wanted torque, from a static map.

use truerim_analysis::static_map::Correction;

use super::args::CorrectArgs;
use super::exit::{Exit, Problem};
use super::fit::fit_of;
use super::say::Say;
use crate::session::corrections;

/// Turns the map of a fit or a recording round and writes it.
pub(super) fn correct(args: &CorrectArgs, say: &Say) -> Result<Exit, Problem> {
    let source = args.source.display();
    if !(2..=100_000).contains(&args.rows) {
        let problem = format!("--rows {}: 2 to 100000", args.rows);
        return Err(Problem::Usage(problem));
    }
    let document = fit_of(&args.source, say)?;
    let Some(map) = &document.curves.static_map else {
        let problem =
            format!("{source} holds no static map; play a staircase, as procedures/static.toml does");
        return Err(Problem::Usage(problem));
    };
    let mean = |(up, down): (&Option<f64>, &Option<f64>)| match (up, down) {
        (Some(up), Some(down)) => 0.5 * (up + down),
        (one, other) => one.or(*other).unwrap_or(f64::NAN),
    };
    let levels = map.rising_nm.iter().zip(&map.falling_nm);
    let torque: Vec<f64> = levels.map(mean).collect();
    // At both ends torque is known from one way only, which friction shifts: they do not belong to the mean of both.
    let inner = 1..map.command_nm.len().saturating_sub(1).max(1);
    let of = |list: &[f64]| list.get(inner.clone()).unwrap_or_default().to_vec();
    let correction = Correction::of(&of(&map.command_nm), &of(&torque))
        .map_err(|refusal| Problem::Usage(format!("{source}: {refusal}")))?;
    let [low, high] = correction.range_nm();
    let recording = &document.recording;
    let comments = [
        format!(
            "Command for a wanted torque of {} {}, both N m at the rim.",
            recording.unit.model, recording.unit.serial
        ),
        format!(
            "By {} {} from the static map of run {}, {}; mean of both ways, monotone.",
            crate::software().name,
            crate::software().version,
            recording.run_id,
            recording.created
        ),
    ];
    let text = corrections::text(&comments, &correction.table(args.rows));
    std::fs::write(&args.out, text).map_err(|source| Problem::Io {
        doing: "write",
        path: args.out.display().to_string(),
        source,
    })?;
    say.result(&format!(
        "{}: commands for {low:.3} to {high:.3} N·m",
        args.out.display()
    ));
    say.json(&serde_json::json!({
        "path": args.out.display().to_string(),
        "rows": args.rows,
        "lowest_nm": low,
        "highest_nm": high,
    }));
    Ok(Exit::Done)
}
