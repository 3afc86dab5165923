//! `check --signals`: what each excitation delivers, known before anything moves; touches no port.

use bench_core::excitation::ExcitationKind;
use bench_core::plan::{Delivered, Plan, Signal};
use bench_core::rig::Rig;
use bench_core::units::{show_nm, show_us};
use serde_json::{Value, json};
use settings_file::write_number;

use super::args::CheckArgs;
use super::columns::columns;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::session::{self, SessionError, SettingsText};

/// Rounding to counts is told where it is more than this share of the weakest octave.
const ROUNDING_SHOWS: f64 = 0.01;

/// Prints what a run of the procedure on the rig would play.
pub(super) fn show(args: &CheckArgs, say: &Say) -> Result<Exit, Problem> {
    let Some(procedure) = &args.procedure else {
        return Err(Problem::Usage("--signals needs a --procedure".to_owned()));
    };
    let text = SettingsText::read(&args.rig.rig)?;
    let rig = Rig::mounted(&text.file, &text.text, args.rig.mounting).map_err(SessionError::from)?;
    let plan = session::plan_for(&SettingsText::read(procedure)?, &rig, args.rig.seed)?;
    let delivered = plan.delivered(&rig);
    say.result(&format!(
        "{} on {}, {}: {}, setpoints up to {}",
        plan.procedure(),
        rig.name,
        rig.mounting,
        show_us(plan.duration_us()),
        show_nm(plan.peak_nm())
    ));
    for segment in &delivered {
        say.result(&as_text(segment));
    }
    say.json(&as_json(&plan, &rig, &delivered));
    Ok(Exit::Done)
}

/// A number for a table: four decimals at most.
fn short(value: f64) -> String {
    write_number((value * 1e4).round() / 1e4)
}

fn as_text(segment: &Delivered) -> String {
    let mut text = format!(
        "\n{}. {}: {} × {}, {}",
        segment.segment,
        segment.name,
        segment.excitations,
        segment.kind,
        show_us(segment.duration_us)
    );
    if let Some(lines) = &segment.lines {
        text += &format!(
            "\n   {} lines from {} to {} Hz, multiples of {} Hz, {} each; {} odd and {} even ones silent",
            lines.excited,
            write_number(lines.first_hz),
            write_number(lines.last_hz),
            write_number(lines.line_hz),
            show_nm((lines.amplitude_nm * 1e6).round() / 1e6),
            lines.silent_odd,
            lines.silent_even
        );
    }
    if segment.parts > 1 {
        let what = match segment.kind {
            ExcitationKind::HalfSine => "pulses",
            _ => "periods",
        };
        text += &format!("\n   {} {what} in a row", segment.parts);
        text += &match segment.transient {
            0 => String::new(),
            1 => "; the rig settles in the first".to_owned(),
            several => format!("; the rig settles in the first {several}"),
        };
    }
    for line in table(&segment.signals) {
        text += "\n   ";
        text += &line;
    }
    let weakest = segment.signals.iter().flat_map(|s| &s.bands);
    let weakest_nm = weakest.map(|band| band.rms_nm).fold(f64::INFINITY, f64::min);
    if weakest_nm.is_finite() && segment.rounding_nm > ROUNDING_SHOWS * weakest_nm {
        text += &format!(
            "\n   rounding to the rig's counts adds {} N·m RMS at most, over all frequencies",
            write_number(segment.rounding_nm)
        );
    }
    text
}

/// One signal a column: length, peak, root mean square, crest factor, then octave by octave.
fn table(signals: &[Signal]) -> Vec<String> {
    if signals.is_empty() {
        return Vec::new();
    }
    let row = |name: &str, cell: &dyn Fn(&Signal) -> String| {
        let mut cells = vec![name.to_owned()];
        cells.extend(signals.iter().map(cell));
        cells
    };
    let mut rows = vec![
        row("length", &|s| show_us(s.length_us)),
        row("peak, N·m", &|s| short(s.peak_nm)),
        row("RMS, N·m", &|s| short(s.rms_nm)),
        row(
            "crest factor",
            &|s| match s.crest_factor.map(|c| format!("{c:.2}")) {
                [least, greatest] if least == greatest => least,
                [least, greatest] => format!("{least} to {greatest}"),
            },
        ),
    ];
    let mut octaves: Vec<[f64; 2]> = signals
        .iter()
        .flat_map(|s| s.bands.iter().map(|b| [b.low_hz, b.high_hz]))
        .collect();
    octaves.sort_by(|a, b| a[1].total_cmp(&b[1]));
    octaves.dedup();
    for [low_hz, high_hz] in octaves {
        let name = format!("RMS, {} to {} Hz", write_number(low_hz), write_number(high_hz));
        rows.push(row(&name, &|s| {
            let band = s.bands.iter().find(|b| b.high_hz.total_cmp(&high_hz).is_eq());
            band.map_or_else(|| "–".to_owned(), |b| short(b.rms_nm))
        }));
    }
    columns(&rows)
}

fn as_json(plan: &Plan, rig: &Rig, delivered: &[Delivered]) -> Value {
    let signal = |s: &Signal| {
        let bands: Vec<Value> = s
            .bands
            .iter()
            .map(|b| json!({ "from_hz": b.low_hz, "to_hz": b.high_hz, "rms_nm": b.rms_nm }))
            .collect();
        json!({
            "length_us": s.length_us,
            "peak_nm": s.peak_nm,
            "rms_nm": s.rms_nm,
            "crest_factor": s.crest_factor,
            "octaves": bands,
        })
    };
    let segments: Vec<Value> = delivered
        .iter()
        .map(|d| {
            let tones = plan.windows().iter().find(|w| w.segment == d.segment);
            let tones = tones.and_then(|w| w.tones.as_deref());
            json!({
                "segment": d.segment,
                "name": d.name,
                "excitation": d.kind.word(),
                "excitations": d.excitations,
                "duration_us": d.duration_us,
                "parts": d.parts,
                "transient": d.transient,
                "line_hz": d.lines.map(|l| l.line_hz),
                "lines": tones.map(|t| &t.lines),
                "line_amplitude_nm": tones.map(|t| t.amplitude_nm),
                "rounding_nm": d.rounding_nm,
                "signals": d.signals.iter().map(signal).collect::<Vec<_>>(),
            })
        })
        .collect();
    json!({
        "rig": rig.name,
        "mounting": rig.mounting.word(),
        "procedure": plan.procedure(),
        "seed": plan.seed(),
        "duration_us": plan.duration_us(),
        "peak_nm": plan.peak_nm(),
        "notes": plan.notes(),
        "segments": segments,
    })
}
