//! Many new rows in one statement: each column is one parameter, an array.

use postgres::types::ToSql;

use crate::backend::{Batch, Cell};

/// A column of new rows.
#[derive(Debug)]
enum Column {
    Ints(Vec<Option<i64>>),
    Reals(Vec<Option<f64>>),
    Texts(Vec<Option<String>>),
}

impl Column {
    const fn kind(&self) -> &'static str {
        match self {
            Self::Ints(_) => "bigint[]",
            Self::Reals(_) => "float8[]",
            Self::Texts(_) => "text[]",
        }
    }

    fn parameter(&self) -> &(dyn ToSql + Sync) {
        match self {
            Self::Ints(values) => values,
            Self::Reals(values) => values,
            Self::Texts(values) => values,
        }
    }

    fn push(&mut self, cell: Cell) {
        match (self, cell) {
            (Self::Ints(values), Cell::Int(value)) => values.push(Some(value)),
            (Self::Ints(values), _) => values.push(None),
            (Self::Reals(values), Cell::Real(value)) => values.push(Some(value)),
            (Self::Reals(values), _) => values.push(None),
            (Self::Texts(values), Cell::Text(value)) => values.push(Some(value)),
            (Self::Texts(values), _) => values.push(None),
        }
    }
}

/// New rows of one table, by column.
#[derive(Debug)]
pub(super) struct Columns {
    table: &'static str,
    names: &'static [&'static str],
    columns: Vec<Column>,
}

impl From<Batch> for Columns {
    fn from(batch: Batch) -> Self {
        let kind = |at: usize| {
            let cells = batch.rows.iter().filter_map(|row| row.get(at));
            match cells.into_iter().find(|cell| **cell != Cell::Null) {
                Some(Cell::Int(_)) => Column::Ints(Vec::new()),
                Some(Cell::Text(_)) => Column::Texts(Vec::new()),
                // Only numbers with a point may be absent from all rows.
                _ => Column::Reals(Vec::new()),
            }
        };
        let mut columns: Vec<Column> = (0..batch.columns.len()).map(kind).collect();
        for row in batch.rows {
            for (column, cell) in columns.iter_mut().zip(row) {
                column.push(cell);
            }
        }
        Self {
            table: batch.table,
            names: batch.columns,
            columns,
        }
    }
}

impl Columns {
    pub(super) fn parameters(&self) -> impl Iterator<Item = &(dyn ToSql + Sync)> {
        self.columns.iter().map(Column::parameter)
    }
}

/// The one statement that adds to all tables.
pub(super) fn statement_of(all: &[Columns]) -> String {
    let mut number = 0;
    let mut inserts: Vec<String> = Vec::new();
    for one in all {
        let names: Vec<String> = one.names.iter().map(|name| format!("\"{name}\"")).collect();
        let places: Vec<String> = one
            .columns
            .iter()
            .map(|column| {
                number += 1;
                format!("${number}::{}", column.kind())
            })
            .collect();
        inserts.push(format!(
            "INSERT INTO {} ({}) SELECT * FROM unnest({})",
            one.table,
            names.join(", "),
            places.join(", ")
        ));
    }
    let last = inserts.pop().unwrap_or_default();
    let before: Vec<String> = (1..)
        .zip(inserts)
        .map(|(n, insert)| format!("added_{n} AS ({insert})"))
        .collect();
    match before.is_empty() {
        true => last,
        false => format!("WITH {} {last}", before.join(", ")),
    }
}
