//! A certificate as one page that needs nothing beside it.

use std::fmt::Write as _;

use truerim_analysis::calibration::angle::Value;
use truerim_analysis::calibration::torque::TorqueCalibration;

use super::certificate::{AngleResult, Certificate, Subject};
use super::setup::Loads;
use crate::report::escape;

const STYLE: &str = include_str!("../report/style.css");

/// The page.
#[must_use]
pub fn html(certificate: &Certificate) -> String {
    let head = &certificate.head;
    let title = format!("Calibration of {} {}", head.model, head.serial);
    let mut page = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{0}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<header>\n<h1>{0}</h1>\n\
         <p class=\"facts\"><span><b>made</b> {1}</span><span><b>due</b> {2}</span><span><b>by</b> {3}</span>\
         <span><b>ambient</b> {4:.1} °C</span></p>\n</header>\n<main>\n",
        escape(&title),
        escape(&head.date),
        escape(&head.due),
        escape(&head.by),
        head.ambient_degc
    );
    match &certificate.subject {
        Subject::Torque {
            loads,
            result,
            gain_uncertainty,
            series,
            ..
        } => {
            page += &torque(result, *gain_uncertainty);
            page += &hung(loads, series.len());
        }
        Subject::Angle { result, .. } => page += &angle(result),
    }
    let _ = write!(
        page,
        "<section>\n<h2>Identity</h2>\n<p>SHA-256 of this certificate's content: <code>{}</code>. Made by {}. The JSON beside \
         this page holds every reading; a rig file names it as <code>rig.torque_sensor.calibration</code>, and each \
         recording carries this identity.</p>\n</section>\n</main>\n</body>\n</html>\n",
        escape(&certificate.identity),
        escape(&certificate.software)
    );
    page
}

fn torque(result: &TorqueCalibration, gain_uncertainty: f64) -> String {
    let class = result.class.map_or(
        "none: a characteristic is outside every class, or reversibility or the zero after is missing"
            .to_owned(),
        |class| format!("{class} (limits of the class table from memory of DIN 51309)"),
    );
    let zero = result
        .zero_pct
        .map_or("not read".to_owned(), |zero| format!("{zero:.4} %"));
    let mut text = format!(
        "<section>\n<h2>Result</h2>\n<p>Indicated over true torque <b>{:.6}</b>; relative expanded uncertainty over the range \
         <b>{:.4} %</b> (k = 2), so <code>gain_uncertainty = \"{:.4} %\"</code> in a rig file. Zero error {zero}. Class \
         {class}.</p>\n<p>Cubic through zero: {:.8} T + {:.3e} T² + {:.3e} T³.</p>\n<table>\n<thead><tr><th>Load N·m</th>\
         <th>Mean indication N·m</th><th>Repeatability b′ %</th><th>Reproducibility b %</th><th>Reversibility h %</th>\
         <th>From the line %</th><th>From the cubic %</th><th>W (k = 2) %</th></tr></thead>\n<tbody>\n",
        result.slope,
        result.expanded_pct,
        100.0 * gain_uncertainty,
        result.cubic[0],
        result.cubic[1],
        result.cubic[2]
    );
    for step in &result.steps {
        let h = step.h_pct.map_or("–".to_owned(), |h| format!("{h:.4}"));
        let _ = writeln!(
            text,
            "<tr><td class=\"number\">{:.5}</td><td class=\"number\">{:.5}</td><td class=\"number\">{:.4}</td>\
             <td class=\"number\">{:.4}</td><td class=\"number\">{h}</td><td class=\"number\">{:.4}</td>\
             <td class=\"number\">{:.4}</td><td class=\"number\">{:.4}</td></tr>",
            step.torque_nm,
            step.mean,
            step.b_prime_pct,
            step.b_pct,
            step.fa_pct,
            step.fa_cubic_pct,
            step.expanded_pct
        );
    }
    text + "</tbody>\n</table>\n</section>\n"
}

fn hung(loads: &Loads, series: usize) -> String {
    let (place, u) = (&loads.place, &loads.uncertainty);
    format!(
        "<section>\n<h2>How</h2>\n<p>{} dead weights on an arm of {:.5} m, {}, in {series} series; local gravity {:.6} m/s², \
         air {:.3} kg/m³, weights {:.0} kg/m³. Relative standard uncertainties: mass {:.1} ppm, gravity {:.1} ppm, arm {:.1} \
         ppm, buoyancy {:.1} ppm; together {:.1} ppm. Method: EURAMET cg-14.</p>\n</section>\n",
        loads.masses_kg.len(),
        place.arm_m,
        if loads.clockwise {
            "clockwise"
        } else {
            "counter-clockwise"
        },
        place.gravity_m_s2,
        place.air_kg_m3,
        place.weight_kg_m3,
        1e6 * u.mass,
        1e6 * u.gravity,
        1e6 * u.arm,
        1e6 * u.buoyancy,
        1e6 * u.combined()
    )
}

fn angle(result: &AngleResult) -> String {
    let row = |name: &str, value: &Value, by: f64, unit: &str| {
        format!(
            "<tr><th scope=\"row\">{name}</th><td class=\"number\">{:.6} ± {:.6} {unit}</td></tr>\n",
            value.value * by,
            value.expanded * by
        )
    };
    let degrees = 180.0 / std::f64::consts::PI;
    let rows = match result {
        AngleResult::CountsPerTurn(value) => row("Counts a turn", value, 1.0, ""),
        AngleResult::Protractor(found) => {
            let once = found.once_per_turn_rad.map_or(
                "<tr><th scope=\"row\">Once-per-turn error</th><td>not told: the series spans less than 300°</td></tr>\n".to_owned(),
                |once| row("Once-per-turn error, amplitude", &once, degrees, "deg"),
            );
            row("Indicated over true angle", &found.scale, 1.0, "")
                + &row("Offset", &found.offset_rad, degrees, "deg")
                + &once
        }
    };
    format!(
        "<section>\n<h2>Result</h2>\n<p>Each interval holds the true value with 95 %.</p>\n<table><tbody>\n{rows}</tbody></table>\n</section>\n"
    )
}
