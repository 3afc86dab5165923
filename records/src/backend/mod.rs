//! One small layer over two databases: statements in SQL that both read, cells in and out.
//!
//! Parameters are written `$1`, `$2`, … and appear first in that order. Types are BIGINT, DOUBLE PRECISION and TEXT; what the
//! two write differently stands in [`Dialect`].

mod server;
mod sqlite;

use crate::address::Address;
use crate::error::RecordsError;

/// One value of a row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell {
    /// Nothing.
    Null,
    /// A whole number.
    Int(i64),
    /// A number; finite.
    Real(f64),
    /// A text.
    Text(String),
}

impl Cell {
    /// The whole number, if it is one.
    pub(crate) fn int(&self) -> Option<i64> {
        match self {
            Self::Int(value) => Some(*value),
            _ => None,
        }
    }

    /// The text, or nothing of it.
    pub(crate) fn text(&self) -> &str {
        match self {
            Self::Text(value) => value,
            _ => "",
        }
    }
}

impl From<i64> for Cell {
    fn from(value: i64) -> Self {
        Self::Int(value)
    }
}

impl From<bool> for Cell {
    fn from(value: bool) -> Self {
        Self::Int(i64::from(value))
    }
}

impl From<&str> for Cell {
    fn from(value: &str) -> Self {
        Self::Text(value.to_owned())
    }
}

impl From<Option<f64>> for Cell {
    fn from(value: Option<f64>) -> Self {
        // SQLite keeps no sign of zero.
        let value = value.filter(|value| value.is_finite());
        value.map_or(Self::Null, |value| Self::Real(value + 0.0))
    }
}

/// The cell of a row at a place; nothing where there is none.
pub(crate) fn cell(cells: &[Cell], at: usize) -> &Cell {
    cells.get(at).unwrap_or(&Cell::Null)
}

/// What SQLite and PostgreSQL write differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Dialect {
    Sqlite,
    Postgres,
}

/// What is done with each row of an answer.
pub(crate) type EachRow<'a> = &'a mut dyn FnMut(&[Cell]) -> Result<(), RecordsError>;

/// New rows of one table.
#[derive(Debug)]
pub(crate) struct Batch {
    pub(crate) table: &'static str,
    pub(crate) columns: &'static [&'static str],
    /// Cells in the order of the columns. Only numbers with a point may be absent.
    pub(crate) rows: Vec<Vec<Cell>>,
}

/// What is done with each result: its measurand, fit, value and standard uncertainty.
pub(crate) type EachResult<'a> = &'a mut dyn FnMut(i64, i64, Option<f64>, Option<f64>);

/// An open database.
pub(crate) trait Database: Send {
    fn dialect(&self) -> Dialect;

    /// Several statements without parameters.
    fn batch(&mut self, sql: &str) -> Result<(), RecordsError>;

    /// One statement with its parameters; returns how many rows it changed.
    fn execute(&mut self, sql: &str, cells: &[Cell]) -> Result<u64, RecordsError>;

    /// The rows of a question, one after the other.
    fn rows(&mut self, sql: &str, cells: &[Cell], each: EachRow<'_>) -> Result<(), RecordsError>;

    /// Adds new rows, all within the change that was begun.
    fn insert(&mut self, batches: Vec<Batch>) -> Result<(), RecordsError>;

    /// The results of a model (by its number) from a fit on, of all measurands or of some; those of a measurand together.
    fn results(
        &mut self,
        model: i64,
        measurands: Option<&[i64]>,
        first_fit: i64,
        each: EachResult<'_>,
    ) -> Result<(), RecordsError>;

    /// Begins a change; until it ends nobody else changes anything.
    fn begin(&mut self) -> Result<(), RecordsError>;

    /// Ends a change for good: when this returns well, it survives a loss of power.
    fn commit(&mut self) -> Result<(), RecordsError>;

    /// Ends a change as if it had never begun.
    fn roll_back(&mut self);

    /// Begins to read one state of the database, which changes of others do not touch; ends with [`Database::commit`].
    fn begin_reading(&mut self) -> Result<(), RecordsError>;
}

/// Opens a database; a file that is not there is made only if `create`.
pub(crate) fn open(address: &Address, create: bool) -> Result<Box<dyn Database>, RecordsError> {
    Ok(match address {
        Address::File(path) => Box::new(sqlite::File::open(path, &address.to_string(), create)?),
        Address::Server(url) => Box::new(server::Server::open(url, &address.to_string())?),
    })
}

/// The first row of an answer.
pub(crate) fn first(
    database: &mut dyn Database,
    sql: &str,
    cells: &[Cell],
) -> Result<Option<Vec<Cell>>, RecordsError> {
    let mut found = None;
    database.rows(sql, cells, &mut |row| {
        if found.is_none() {
            found = Some(row.to_vec());
        }
        Ok(())
    })?;
    Ok(found)
}

/// All rows of an answer that is known to be short.
pub(crate) fn all(
    database: &mut dyn Database,
    sql: &str,
    cells: &[Cell],
) -> Result<Vec<Vec<Cell>>, RecordsError> {
    let mut found = Vec::new();
    database.rows(sql, cells, &mut |row| {
        found.push(row.to_vec());
        Ok(())
    })?;
    Ok(found)
}
