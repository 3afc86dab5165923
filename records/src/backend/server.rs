//! PostgreSQL: a server, for several benches at once.
//!
//! The connection is not encrypted: keep it within the plant's own network, or inside a tunnel. A server that asks for
//! TLS is refused with that reason.

mod columns;

use std::collections::HashMap;
use std::time::Duration;

use postgres::fallible_iterator::FallibleIterator;
use postgres::types::{ToSql, Type};
use postgres::{Client, Config, NoTls, Row, Statement};

use self::columns::{Columns, statement_of};
use super::{Batch, Cell, Database, Dialect, EachResult, EachRow};
use crate::error::{RecordsError, told};

/// How long a server may take to answer a call, unless the URL says otherwise.
const PATIENCE: Duration = Duration::from_secs(5);
/// The lock that whoever appends holds until the end of the change; a number of our own among the server's advisory locks.
const APPENDING: i64 = 0x7472_7565_7269_6d01;

pub(super) struct Server {
    client: Client,
    prepared: HashMap<String, Statement>,
    shown: String,
}

impl Server {
    pub(super) fn open(url: &str, shown: &str) -> Result<Self, RecordsError> {
        let unreachable = |error: postgres::Error| RecordsError::Unreachable {
            address: shown.to_owned(),
            why: told(&error),
        };
        let mut config: Config = url.parse().map_err(unreachable)?;
        if config.get_connect_timeout().is_none() {
            config.connect_timeout(PATIENCE);
        }
        if config.get_application_name().is_none() {
            config.application_name("truerim records");
        }
        let mut client = config.connect(NoTls).map_err(unreachable)?;
        // Whatever the server's default, what is committed is on its disk. Whatever it says of no interest is not shown.
        client
            .batch_execute("SET synchronous_commit = on; SET client_min_messages = warning")
            .map_err(unreachable)?;
        Ok(Self {
            client,
            prepared: HashMap::new(),
            shown: shown.to_owned(),
        })
    }

    fn failed(&self, doing: &'static str) -> impl Fn(postgres::Error) -> RecordsError + use<> {
        let address = self.shown.clone();
        move |error| RecordsError::Database {
            address: address.clone(),
            doing,
            why: told(&error),
        }
    }

    fn statement(&mut self, sql: &str) -> Result<Statement, postgres::Error> {
        if let Some(known) = self.prepared.get(sql) {
            return Ok(known.clone());
        }
        let statement = self.client.prepare(sql)?;
        self.prepared.insert(sql.to_owned(), statement.clone());
        Ok(statement)
    }
}

fn cells_of(row: &Row, cells: &mut Vec<Cell>) -> Result<(), postgres::Error> {
    cells.clear();
    for (at, column) in row.columns().iter().enumerate() {
        let cell = match *column.type_() {
            Type::INT8 => row.try_get::<_, Option<i64>>(at)?.map(Cell::Int),
            Type::FLOAT8 => row.try_get::<_, Option<f64>>(at)?.map(Cell::Real),
            _ => row.try_get::<_, Option<String>>(at)?.map(Cell::Text),
        };
        cells.push(cell.unwrap_or(Cell::Null));
    }
    Ok(())
}

/// The value as the client takes it. Only numbers with a point may be absent.
fn parameter(cell: &Cell) -> &(dyn ToSql + Sync) {
    const ABSENT: &Option<f64> = &None;
    match cell {
        Cell::Null => ABSENT,
        Cell::Int(value) => value,
        Cell::Real(value) => value,
        Cell::Text(text) => text,
    }
}

fn parameters(cells: &[Cell]) -> Vec<&(dyn ToSql + Sync)> {
    cells.iter().map(parameter).collect()
}

impl Database for Server {
    fn dialect(&self) -> Dialect {
        Dialect::Postgres
    }

    fn batch(&mut self, sql: &str) -> Result<(), RecordsError> {
        let failed = self.failed("change the tables");
        self.client.batch_execute(sql).map_err(failed)
    }

    fn execute(&mut self, sql: &str, cells: &[Cell]) -> Result<u64, RecordsError> {
        let failed = self.failed("write");
        let statement = self.statement(sql).map_err(&failed)?;
        self.client
            .execute(&statement, &parameters(cells))
            .map_err(failed)
    }

    fn rows(&mut self, sql: &str, cells: &[Cell], each: EachRow<'_>) -> Result<(), RecordsError> {
        let failed = self.failed("read");
        let statement = self.statement(sql).map_err(&failed)?;
        let mut rows = self
            .client
            .query_raw(&statement, parameters(cells))
            .map_err(&failed)?;
        let mut row_cells = Vec::new();
        while let Some(row) = rows.next().map_err(&failed)? {
            cells_of(&row, &mut row_cells).map_err(&failed)?;
            each(&row_cells)?;
        }
        Ok(())
    }

    fn insert(&mut self, batches: Vec<Batch>) -> Result<(), RecordsError> {
        let failed = self.failed("write");
        let columns: Vec<Columns> = batches.into_iter().map(Columns::from).collect();
        let statement = self.statement(&statement_of(&columns)).map_err(&failed)?;
        let given: Vec<&(dyn ToSql + Sync)> = columns.iter().flat_map(Columns::parameters).collect();
        self.client.execute(&statement, &given).map(drop).map_err(failed)
    }

    fn results(
        &mut self,
        model: i64,
        measurands: Option<&[i64]>,
        first_fit: i64,
        each: EachResult<'_>,
    ) -> Result<(), RecordsError> {
        let failed = self.failed("read");
        // A row a measurand, with its numbers in arrays: a row each would cost ten times as much on the way.
        let sql = "SELECT measurand, array_agg(fit), array_agg(value), array_agg(u) FROM results \
                   WHERE model = $1 AND fit >= $2 AND ($3::bigint[] IS NULL OR measurand = ANY ($3)) GROUP BY measurand";
        let statement = self.statement(sql).map_err(&failed)?;
        let mut rows = self
            .client
            .query_raw(
                &statement,
                [&model as &(dyn ToSql + Sync), &first_fit, &measurands],
            )
            .map_err(&failed)?;
        while let Some(row) = rows.next().map_err(&failed)? {
            let measurand: i64 = row.try_get(0).map_err(&failed)?;
            let fits: Vec<i64> = row.try_get(1).map_err(&failed)?;
            let values: Vec<Option<f64>> = row.try_get(2).map_err(&failed)?;
            let uncertainties: Vec<Option<f64>> = row.try_get(3).map_err(&failed)?;
            for ((fit, value), u) in fits.into_iter().zip(values).zip(uncertainties) {
                each(measurand, fit, value, u);
            }
        }
        Ok(())
    }

    fn begin(&mut self) -> Result<(), RecordsError> {
        let failed = self.failed("begin to write");
        // The lock first, the state to build on after it: each statement sees what was committed before it began.
        let sql = format!("BEGIN ISOLATION LEVEL READ COMMITTED; SELECT pg_advisory_xact_lock({APPENDING})");
        self.client.batch_execute(&sql).map_err(failed)
    }

    fn commit(&mut self) -> Result<(), RecordsError> {
        let failed = self.failed("finish");
        self.client.batch_execute("COMMIT").map_err(failed)
    }

    fn roll_back(&mut self) {
        // Fails where the connection is gone: then the server has undone it.
        let _ = self.client.batch_execute("ROLLBACK");
    }

    fn begin_reading(&mut self) -> Result<(), RecordsError> {
        let failed = self.failed("begin to read");
        self.client
            .batch_execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            .map_err(failed)
    }
}
