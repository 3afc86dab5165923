//! A comparison as files.

use std::path::{Path, PathBuf};

use super::{comparison_page, overlays};
use crate::compare::{Comparison, Group, RowOutcome, sentence};
use crate::report::ReportError;
use crate::report::write::{below, write};

/// Writes `comparison.html`, `comparison.json`, `comparison.csv` and `plots/*.svg` into `dir`, which is made if it is not there;
/// files of the same names are replaced. Returns what was written, the page first.
///
/// # Errors
/// [`ReportError`] with the file that could not be written.
pub fn write_comparison(
    dir: &Path,
    comparison: &Comparison,
    groups: &[Group],
) -> Result<Vec<PathBuf>, ReportError> {
    let drawn = overlays(groups)?;
    let folder = below(dir, "plots")?;
    let mut files = vec![
        (dir.join("comparison.html"), comparison_page(comparison, &drawn)?),
        (
            dir.join("comparison.json"),
            serde_json::to_string(comparison)? + "\n",
        ),
        (dir.join("comparison.csv"), csv(comparison)),
    ];
    files.extend(
        drawn
            .into_iter()
            .map(|plot| (folder.join(format!("{}.svg", plot.name)), plot.wide)),
    );
    files
        .into_iter()
        .map(|(path, text)| write(&path, &text).map(|()| path))
        .collect()
}

/// One row a line, SI units, as RFC 4180 has it.
fn csv(comparison: &Comparison) -> String {
    let mut text = String::from(
        "quantity,group,headline,reference,held_against_it,unit,reference_value,value,difference,low_95,high_95,relative,p,\
         p_holm,differs,smaller_than_95,would_find,repeatability_from,repeatability_sd,verdict\r\n",
    );
    for row in &comparison.rows {
        let head = [
            row.quantity.text().id.to_owned(),
            row.group.clone(),
            row.headline.to_string(),
            row.then.clone(),
            row.now.clone(),
        ];
        let rest: Vec<String> = match &row.outcome {
            RowOutcome::NotCompared { .. } => vec![String::new(); 14],
            RowOutcome::Compared(c) => {
                let d = &c.difference;
                let kind = serde_json::to_value(c.spread.kind).ok();
                vec![
                    d.unit.clone(),
                    c.then.value.to_string(),
                    c.now.value.to_string(),
                    d.value.to_string(),
                    d.interval[0].to_string(),
                    d.interval[1].to_string(),
                    c.relative
                        .as_ref()
                        .map_or_else(String::new, |r| r.value.to_string()),
                    c.chance.to_string(),
                    c.chance_adjusted.to_string(),
                    c.differs.to_string(),
                    c.smaller_than.to_string(),
                    c.would_find.to_string(),
                    kind.as_ref().and_then(|k| k.as_str()).unwrap_or("").to_owned(),
                    c.spread.sd.to_string(),
                ]
            }
        };
        let cells: Vec<String> = head.into_iter().chain(rest).chain([sentence(row)]).collect();
        text.push_str(&crate::report::write::csv_line(&cells));
    }
    text
}
