//! One true value with its unit and where it comes from, and the rows as text.

use std::fmt::Write as _;

/// One row: what a perfect measurement would find.
#[derive(Debug, Clone, PartialEq)]
pub struct TruthRow {
    /// Short name, the same for every unit; a list (modes, orders) repeats it.
    pub id: &'static str,
    /// What it is, for people.
    pub name: String,
    /// The value, SI.
    pub value: f64,
    /// Its unit, SI: `s`, `Hz`, `N.m`, `rad`, `1` and so on.
    pub unit: &'static str,
    /// How it follows from the parameters, in their keys.
    pub follows: String,
}

/// Writes the rows as a table for people: milliseconds, degrees, millinewton metres, minutes.
pub fn describe_text(rows: &[TruthRow]) -> String {
    let shown: Vec<(String, &str)> = rows.iter().map(shown).collect();
    let wide = |lengths: &mut dyn Iterator<Item = usize>| lengths.max().unwrap_or(0);
    let name = wide(&mut rows.iter().map(|row| row.name.chars().count()));
    let value = wide(&mut shown.iter().map(|(value, _)| value.chars().count()));
    let unit = wide(&mut shown.iter().map(|(_, unit)| unit.chars().count()));
    let mut text = String::new();
    for (row, (number, symbol)) in rows.iter().zip(&shown) {
        // Writing into a String does not fail.
        let _ = writeln!(
            text,
            "{:name$}  {number:>value$} {symbol:unit$}  {}",
            row.name, row.follows
        );
    }
    text
}

/// The value as people read it, and its unit.
fn shown(row: &TruthRow) -> (String, &'static str) {
    let (factor, unit) = match row.unit {
        "s" if row.value.abs() >= 60.0 => (1.0 / 60.0, "min"),
        "s" if row.value.abs() < 1.0 => (1e3, "ms"),
        "rad" => (180.0 / std::f64::consts::PI, "deg"),
        "N.m" if row.value.abs() < 0.1 => (1e3, "mN·m"),
        "N.m" => (1.0, "N·m"),
        "N.m/s" => (1e-3, "N·m/ms"),
        "N.m/rad" => (1.0, "N·m/rad"),
        "N.m.s/rad" => (1.0, "N·m·s/rad"),
        "kg.m2" => (1e3, "g·m²"),
        "degC" => (1.0, "°C"),
        "rad/s2" => (1.0, "rad/s²"),
        "1" => (1.0, ""),
        other => (1.0, other),
    };
    (four_figures(factor * row.value), unit)
}

/// Four significant figures without an exponent.
fn four_figures(value: f64) -> String {
    if value.abs() < 1e-12 {
        return "0".to_owned();
    }
    let digits = (3.0 - value.abs().log10().floor()).clamp(0.0, 12.0) as usize;
    let text = format!("{value:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}
