//! CSV: a header, then one row a line, numbers with as many digits as bring back the same bits.

use std::fmt::Write as _;
use std::io::Write;
use std::path::Path;

use super::Table;
use crate::exchange::ExchangeError;

pub(super) fn write(table: &Table<'_>, mut to: impl Write, path: &Path) -> Result<(), ExchangeError> {
    let io = |e| ExchangeError::io("write", path, e);
    let names: Vec<&str> = table.columns.iter().map(|c| c.name.as_str()).collect();
    writeln!(to, "{}", names.join(",")).map_err(io)?;
    let mut line = String::new();
    for rows in table.blocks() {
        let mut columns = Vec::with_capacity(table.columns.len());
        for column in &table.columns {
            columns.push(table.values(column, rows.clone())?);
        }
        for i in 0..rows.len() {
            line.clear();
            for (c, values) in columns.iter().enumerate() {
                if c > 0 {
                    line.push(',');
                }
                let value = values.get(i).copied().unwrap_or(f64::NAN);
                // Writing to a text does not fail.
                let _ = write!(line, "{value}");
            }
            line.push('\n');
            to.write_all(line.as_bytes()).map_err(io)?;
        }
    }
    to.flush().map_err(io)
}
