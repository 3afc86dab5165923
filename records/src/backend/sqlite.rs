//! SQLite: a file of this computer.
//!
//! The write-ahead log lets others read while one writes; `synchronous = FULL` forces the log to the disk at each commit.
//! Both want a file system of this computer: for several computers there is the server.

use std::path::Path;
use std::time::Duration;

use rusqlite::types::{ToSqlOutput, Value, ValueRef};
use rusqlite::{Connection, ErrorCode, OpenFlags, Statement, ToSql};

use super::{Batch, Cell, Database, Dialect, EachResult, EachRow};
use crate::error::{RecordsError, told};

/// How long one program waits for another to finish its change.
const PATIENCE: Duration = Duration::from_secs(20);
/// How often a new file is asked to write ahead: whoever is sent away comes after one that was not.
const ASKED: usize = 100;
/// Statements kept prepared.
const PREPARED: usize = 64;
/// Memory for pages of the file, as SQLite wants it: negative, KiB. The places where years of results go on must fit.
const CACHE_KIB: i64 = -32_768;

pub(super) struct File {
    connection: Connection,
    shown: String,
}

impl File {
    pub(super) fn open(path: &Path, shown: &str, create: bool) -> Result<Self, RecordsError> {
        let unreachable = |why: String| RecordsError::Unreachable {
            address: shown.to_owned(),
            why,
        };
        let mut flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        if create {
            flags |= OpenFlags::SQLITE_OPEN_CREATE;
        } else if !path.is_file() {
            return Err(unreachable(
                "there is no such file; adding a measurement makes it".to_owned(),
            ));
        }
        let connection =
            Connection::open_with_flags(path, flags).map_err(|error| unreachable(told(&error)))?;
        connection.set_prepared_statement_cache_capacity(PREPARED);
        let set_up = connection
            .busy_timeout(PATIENCE)
            .and_then(|()| write_ahead(&connection))
            .and_then(|()| connection.pragma_update(None, "synchronous", "FULL"))
            .and_then(|()| connection.pragma_update(None, "cache_size", CACHE_KIB));
        set_up.map_err(|error| unreachable(told(&error)))?;
        Ok(Self {
            connection,
            shown: shown.to_owned(),
        })
    }

    fn failed(&self, doing: &'static str) -> impl Fn(rusqlite::Error) -> RecordsError + use<> {
        let address = self.shown.clone();
        move |error| RecordsError::Database {
            address: address.clone(),
            doing,
            why: told(&error),
        }
    }
}

/// Has changes written ahead, as the file then says for all. Of several that ask this of a new file at once SQLite sends some away without
/// waiting, lest they wait for one another; each that is sent away waits for its turn to write, and asks again.
fn write_ahead(connection: &Connection) -> rusqlite::Result<()> {
    let ask = || connection.pragma_update(None, "journal_mode", "WAL");
    for _ in 1..ASKED {
        match ask() {
            Err(error) if error.sqlite_error_code() == Some(ErrorCode::DatabaseBusy) => {
                connection.execute_batch("BEGIN IMMEDIATE; ROLLBACK")?;
            }
            done => return done,
        }
    }
    ask()
}

impl ToSql for Cell {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(match self {
            Self::Null => ToSqlOutput::Owned(Value::Null),
            Self::Int(value) => ToSqlOutput::Owned(Value::Integer(*value)),
            Self::Real(value) => ToSqlOutput::Owned(Value::Real(*value)),
            Self::Text(text) => ToSqlOutput::Borrowed(ValueRef::Text(text.as_bytes())),
        })
    }
}

fn bind(statement: &mut Statement<'_>, cells: &[Cell]) -> rusqlite::Result<()> {
    cells
        .iter()
        .enumerate()
        .try_for_each(|(index, cell)| statement.raw_bind_parameter(index + 1, cell))
}

fn cell_of(value: ValueRef<'_>) -> Cell {
    match value {
        ValueRef::Null => Cell::Null,
        ValueRef::Integer(value) => Cell::Int(value),
        ValueRef::Real(value) => Cell::Real(value),
        ValueRef::Text(bytes) | ValueRef::Blob(bytes) => {
            Cell::Text(String::from_utf8_lossy(bytes).into_owned())
        }
    }
}

impl Database for File {
    fn dialect(&self) -> Dialect {
        Dialect::Sqlite
    }

    fn batch(&mut self, sql: &str) -> Result<(), RecordsError> {
        self.connection
            .execute_batch(sql)
            .map_err(self.failed("change the tables"))
    }

    fn execute(&mut self, sql: &str, cells: &[Cell]) -> Result<u64, RecordsError> {
        let failed = self.failed("write");
        let mut statement = self.connection.prepare_cached(sql).map_err(&failed)?;
        bind(&mut statement, cells).map_err(&failed)?;
        let changed = statement.raw_execute().map_err(&failed)?;
        Ok(changed as u64)
    }

    fn rows(&mut self, sql: &str, cells: &[Cell], each: EachRow<'_>) -> Result<(), RecordsError> {
        let failed = self.failed("read");
        let mut statement = self.connection.prepare_cached(sql).map_err(&failed)?;
        bind(&mut statement, cells).map_err(&failed)?;
        let columns = statement.column_count();
        let mut row_cells = Vec::with_capacity(columns);
        let mut rows = statement.raw_query();
        while let Some(row) = rows.next().map_err(&failed)? {
            row_cells.clear();
            for column in 0..columns {
                row_cells.push(cell_of(row.get_ref(column).map_err(&failed)?));
            }
            each(&row_cells)?;
        }
        Ok(())
    }

    fn insert(&mut self, batches: Vec<Batch>) -> Result<(), RecordsError> {
        let failed = self.failed("write");
        for batch in batches {
            let names: Vec<String> = batch.columns.iter().map(|name| format!("\"{name}\"")).collect();
            let places: Vec<String> = (1..=names.len()).map(|n| format!("?{n}")).collect();
            let sql = format!(
                "INSERT INTO {} ({}) VALUES ({})",
                batch.table,
                names.join(", "),
                places.join(", ")
            );
            let mut statement = self.connection.prepare_cached(&sql).map_err(&failed)?;
            for row in &batch.rows {
                bind(&mut statement, row).map_err(&failed)?;
                statement.raw_execute().map_err(&failed)?;
            }
        }
        Ok(())
    }

    fn results(
        &mut self,
        model: i64,
        measurands: Option<&[i64]>,
        first_fit: i64,
        each: EachResult<'_>,
    ) -> Result<(), RecordsError> {
        let failed = self.failed("read");
        // One measurand after the other: within one the fits lie in order, and the earlier ones are not read.
        let known: Vec<i64> = match measurands {
            Some(some) => some.to_vec(),
            None => {
                let mut statement = self
                    .connection
                    .prepare_cached("SELECT measurand FROM measurands ORDER BY measurand")
                    .map_err(&failed)?;
                let rows = statement.query_map([], |row| row.get(0)).map_err(&failed)?;
                rows.collect::<rusqlite::Result<_>>().map_err(&failed)?
            }
        };
        let sql = "SELECT fit, value, u FROM results WHERE model = ?1 AND measurand = ?2 AND fit >= ?3";
        let mut statement = self.connection.prepare_cached(sql).map_err(&failed)?;
        for measurand in known {
            let mut rows = statement.query([model, measurand, first_fit]).map_err(&failed)?;
            while let Some(row) = rows.next().map_err(&failed)? {
                let number = |at| row.get::<_, Option<f64>>(at);
                each(
                    measurand,
                    row.get(0).map_err(&failed)?,
                    number(1).map_err(&failed)?,
                    number(2).map_err(&failed)?,
                );
            }
        }
        Ok(())
    }

    fn begin(&mut self) -> Result<(), RecordsError> {
        // Takes the right to write at once, so that what is read next is what the change is built on.
        self.connection
            .execute_batch("BEGIN IMMEDIATE")
            .map_err(self.failed("begin to write"))
    }

    fn commit(&mut self) -> Result<(), RecordsError> {
        self.connection
            .execute_batch("COMMIT")
            .map_err(self.failed("finish"))
    }

    fn roll_back(&mut self) {
        // Fails where nothing was begun, or the database is gone: then there is nothing to undo.
        let _ = self.connection.execute_batch("ROLLBACK");
    }

    fn begin_reading(&mut self) -> Result<(), RecordsError> {
        self.connection
            .execute_batch("BEGIN DEFERRED")
            .map_err(self.failed("begin to read"))
    }
}
