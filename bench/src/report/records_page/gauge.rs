//! The gauge study.

use super::GaugeData;
use super::figure::{figure, number};
use super::parts::wide;
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Canvas, Stroke, finish};
use crate::report::plots::legend::{self, Sample};
use crate::report::plots::palette::{BLUE, GREEN, INK, VERMILION};
use crate::report::plots::panel::Panel;
use crate::report::{PlotError, escape};
use quality::gauge::{Component, Crossed, Fitness, GaugeStudy, Settings, study};

/// A look for each of up to four operators; more repeat.
const LOOKS: [Stroke; 4] = [
    Stroke::solid(BLUE, 2.0),
    Stroke::solid(VERMILION, 2.0).dashed(7.0, 4.0),
    Stroke::solid(GREEN, 2.0).dashed(2.0, 3.0),
    Stroke::solid(INK, 1.4).dashed(9.0, 3.0),
];

pub(super) fn section(data: &GaugeData) -> Result<String, PlotError> {
    let found = Crossed::new(&data.cells).and_then(|cells| study(&cells, &Settings::default()));
    let found = match found {
        Ok(found) => found,
        Err(refusal) => {
            return Ok(format!(
                "<p class=\"lead\">{}</p>\n",
                escape(&refusal.to_string())
            ));
        }
    };
    let drawn = figure(
        "gauge-study",
        &format!("Gauge study, {}", data.measurand),
        "Every measurement, unit by unit; lines join the means of one operator or bench. Lines that lie on one another say that \
         operators agree, short rows of dots that repeats do, a large rise and fall that units differ.",
        |format| draw(data, format),
    )?;
    Ok(verdict(data, &found) + &drawn + &table(data, &found))
}

fn verdict(data: &GaugeData, found: &GaugeStudy) -> String {
    let v = &found.variation;
    let (share, of) = match data.tolerance.map(|t| v.percent_tolerance(&v.gauge, t)) {
        Some(Ok(share)) => (share, "tolerance"),
        _ => (v.percent_study(&v.gauge), "variation seen"),
    };
    let (class, word) = match Fitness::of(share) {
        Fitness::Good => ("good", "Good"),
        Fitness::Conditional => ("bad", "Conditional"),
        Fitness::Unfit => ("bad", "Not fit"),
    };
    format!(
        "<p class=\"verdict\"><span class=\"{class}\">{word}</span>: the measurement takes {share:.1} % of the {of}. Classes of \
         units that it tells apart: {} (five are wanted).</p>\n",
        v.distinct_categories()
    )
}

fn table(data: &GaugeData, found: &GaugeStudy) -> String {
    let v = &found.variation;
    let row = |name: &str, c: &Component| {
        let interval = c.sd_interval().map_or_else(String::new, |i| {
            format!(" <small>{} to {}</small>", number(i.low), number(i.high))
        });
        let tolerance = data
            .tolerance
            .and_then(|t| v.percent_tolerance(c, t).ok())
            .map_or_else(|| "–".to_owned(), |share| format!("{share:.1}"));
        format!(
            "<tr><th scope=\"row\">{name}</th><td class=\"value\">{}{interval}</td><td class=\"number\">{:.1}</td>\
             <td class=\"number\">{:.1}</td><td class=\"number\">{tolerance}</td></tr>\n",
            number(c.sd()),
            v.percent_contribution(c),
            v.percent_study(c)
        )
    };
    let rows = [
        row("repeatability", &v.repeatability),
        row("operator or bench", &v.operator),
        row("interaction", &v.interaction),
        row("gauge, all of these", &v.gauge),
        row("unit to unit", &v.part),
        row("total", &v.total),
    ];
    let pooled = match found.interaction.p {
        Some(p) if found.pooled => format!("Interaction pooled with repeatability (p {p:.3}, above 0.25)."),
        Some(p) => format!("Interaction kept (p {p:.3})."),
        None => String::new(),
    };
    let table = format!(
        "<table class=\"groups\">\n<thead><tr><th>source</th><th>standard deviation, 95 % interval</th>\
         <th>% of variance</th><th>% of study</th><th>% of tolerance</th></tr></thead>\n<tbody>\n{}</tbody>\n</table>",
        rows.concat()
    );
    wide(&table) + &format!("<p class=\"lead\">{pooled}</p>\n")
}

fn draw(data: &GaugeData, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let look = |operator: usize| LOOKS[operator % LOOKS.len()];
    let entries: Vec<(Sample, String)> = data
        .operators
        .iter()
        .enumerate()
        .map(|(i, name)| (Sample::Line(look(i)), name.clone()))
        .collect();
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let units = data.cells.len() as f64;
    let panel = Panel {
        left: 52.0,
        top,
        right: width - 12.0,
        bottom: top + 200.0,
        // A number for each unit, where there is room.
        x: Axis::linear(
            0.4,
            units + 0.6,
            (0.95 * (width - 64.0) / (units + 0.2)).max(22.0),
        ),
        y: Axis::around(data.cells.iter().flatten().flatten().copied(), 0.06, 32.0),
    };
    let height = panel.bottom + 46.0;
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    panel.axes(&mut canvas, true)?;
    let spread = 0.5 / data.operators.len().max(1) as f64;
    for operator in 0..data.operators.len() {
        let aside = spread * (operator as f64 - 0.5 * (data.operators.len() as f64 - 1.0));
        let (mut x, mut y) = (Vec::new(), Vec::new());
        for (unit, cells) in data.cells.iter().enumerate() {
            let Some(cell) = cells.get(operator) else { continue };
            let at = unit as f64 + 1.0 + aside;
            for value in cell {
                let (px, py) = panel.at(at, *value);
                canvas.block(
                    (px - 1.8, py - 1.8),
                    (px + 1.8, py + 1.8),
                    look(operator).colour,
                    0.7,
                )?;
            }
            x.push(at);
            y.push(cell.iter().sum::<f64>() / cell.len() as f64);
        }
        panel.curve(&mut canvas, &x, &y, look(operator))?;
    }
    panel.names(&mut canvas, "unit", &data.measurand)?;
    canvas.close()?;
    let description = format!(
        "{} units, {} operators or benches.",
        data.cells.len(),
        data.operators.len()
    );
    Ok(finish(&drawn, width, height, "Gauge study", &description))
}
