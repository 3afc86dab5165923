//! The tables, by numbered migrations.
//!
//! `entries` holds all there is. The other tables say the same again in columns, so that questions are answered quickly:
//! each row is derived from the one entry that its column `entry` names, is never changed, and `verify` derives it again.

use crate::backend::{Cell, Database, Dialect, all, cell, first};
use crate::error::RecordsError;

/// A table that is derived from the entries.
#[derive(Debug, PartialEq, Eq, Hash)]
pub(crate) struct Table {
    pub(crate) name: &'static str,
    /// Its columns in order; the last is `entry`.
    pub(crate) columns: &'static [&'static str],
}

macro_rules! tables {
    ($($name:ident $table:literal [$($column:literal),+];)+) => {
        $(pub(crate) static $name: Table = Table { name: $table, columns: &[$($column),+] };)+
        /// Every derived table.
        pub(crate) static TABLES: &[&Table] = &[$(&$name),+];
    };
}

tables! {
    MODELS "models" ["name", "entry"];
    UNITS "units" ["model", "serial", "entry"];
    FIRMWARES "firmwares" ["name", "entry"];
    BENCHES "benches" ["name", "entry"];
    RIGS "rigs" ["name", "kind", "fixture", "entry"];
    CALIBRATIONS "calibrations" ["sensor", "certificate", "identity", "calibrated", "due", "entry"];
    OPERATORS "operators" ["name", "entry"];
    PROCEDURES "procedures" ["name", "sha256", "entry"];
    RECORDINGS "recordings" [
        "recording", "seal", "model", "unit", "firmware", "bench", "rig", "calibration", "operator", "procedure", "batch",
        "created", "at", "completion", "overdue", "entry"
    ];
    FITS "fits" ["recording", "program", "version", "build", "sound", "entry"];
    MEASURANDS "measurands" ["measurand", "name", "unit", "entry"];
    RESULTS "results" ["model", "measurand", "fit", "value", "u", "entry"];
    LIMITS "limits" ["name", "model", "sha256", "entry"];
    JUDGEMENTS "judgements" ["fit", "limits", "verdict", "warning", "entry"];
    CORRECTIONS "corrections" ["corrected", "withdrawn", "entry"];
    MENTIONS "mentions" ["unit", "mentioned", "entry"];
}

/// Each migration once, in order; the number of the last is the version of the tables. `{key}` is a whole number that rows are
/// kept in the order of; `{clustered}` keeps the rows of a table in the order of its primary key where the database can, and
/// `{covering}` keeps its numbers beside that key where it cannot: a model's results then lie together.
const MIGRATIONS: &[&str] = &["
CREATE TABLE entries (
  seq {key}, kind TEXT NOT NULL, \"key\" TEXT NOT NULL, digest TEXT NOT NULL, link TEXT NOT NULL, line TEXT NOT NULL);
CREATE UNIQUE INDEX entries_by_key ON entries (\"key\");
CREATE TABLE models (name TEXT NOT NULL, entry {key});
CREATE UNIQUE INDEX models_by_name ON models (name);
CREATE TABLE units (model BIGINT NOT NULL, serial TEXT NOT NULL, entry {key});
CREATE UNIQUE INDEX units_by_serial ON units (serial, model);
CREATE TABLE firmwares (name TEXT NOT NULL, entry {key});
CREATE UNIQUE INDEX firmwares_by_name ON firmwares (name);
CREATE TABLE benches (name TEXT NOT NULL, entry {key});
CREATE UNIQUE INDEX benches_by_name ON benches (name);
CREATE TABLE rigs (name TEXT NOT NULL, kind TEXT NOT NULL, fixture TEXT NOT NULL, entry {key});
CREATE UNIQUE INDEX rigs_by_name ON rigs (name, kind, fixture);
CREATE TABLE calibrations (
  sensor TEXT NOT NULL, certificate TEXT NOT NULL, identity TEXT NOT NULL, calibrated TEXT NOT NULL, due TEXT NOT NULL,
  entry {key});
CREATE UNIQUE INDEX calibrations_by_name ON calibrations (sensor, certificate, identity, calibrated, due);
CREATE TABLE operators (name TEXT NOT NULL, entry {key});
CREATE UNIQUE INDEX operators_by_name ON operators (name);
CREATE TABLE procedures (name TEXT NOT NULL, sha256 TEXT NOT NULL, entry {key});
CREATE UNIQUE INDEX procedures_by_name ON procedures (name, sha256);
CREATE TABLE recordings (
  recording BIGINT NOT NULL, seal TEXT NOT NULL, model BIGINT NOT NULL, unit BIGINT NOT NULL, firmware BIGINT NOT NULL,
  bench BIGINT NOT NULL, rig BIGINT NOT NULL, calibration BIGINT NOT NULL, operator BIGINT NOT NULL,
  procedure BIGINT NOT NULL, batch TEXT NOT NULL, created TEXT NOT NULL, at BIGINT NOT NULL, completion TEXT NOT NULL,
  overdue BIGINT NOT NULL, entry {key});
CREATE INDEX recordings_by_recording ON recordings (recording, entry);
CREATE INDEX recordings_by_unit ON recordings (unit);
CREATE INDEX recordings_by_model ON recordings (model);
CREATE TABLE fits (
  recording BIGINT NOT NULL, program TEXT NOT NULL, version TEXT NOT NULL, build TEXT NOT NULL, sound BIGINT NOT NULL,
  entry {key});
CREATE INDEX fits_by_recording ON fits (recording);
CREATE TABLE measurands (measurand {key}, name TEXT NOT NULL, unit TEXT NOT NULL, entry BIGINT NOT NULL);
CREATE UNIQUE INDEX measurands_by_name ON measurands (name, unit);
CREATE TABLE results (
  model BIGINT NOT NULL, measurand BIGINT NOT NULL, fit BIGINT NOT NULL, value DOUBLE PRECISION, u DOUBLE PRECISION,
  entry BIGINT NOT NULL, PRIMARY KEY (model, measurand, fit){covering}){clustered};
CREATE TABLE limits (name TEXT NOT NULL, model TEXT NOT NULL, sha256 TEXT NOT NULL, entry {key});
CREATE TABLE judgements (
  fit BIGINT NOT NULL, limits BIGINT NOT NULL, verdict TEXT NOT NULL, warning BIGINT NOT NULL, entry {key});
CREATE INDEX judgements_by_fit ON judgements (fit);
CREATE TABLE corrections (corrected BIGINT NOT NULL, withdrawn BIGINT NOT NULL, entry {key});
CREATE INDEX corrections_by_corrected ON corrections (corrected, entry);
CREATE TABLE mentions (
  unit BIGINT NOT NULL, mentioned BIGINT NOT NULL, entry BIGINT NOT NULL, PRIMARY KEY (unit, mentioned)){clustered};
"];

/// The version that this program makes.
pub(crate) const VERSION: i64 = MIGRATIONS.len() as i64;

fn in_dialect(sql: &str, dialect: Dialect) -> String {
    let (key, clustered, covering) = match dialect {
        Dialect::Sqlite => ("INTEGER PRIMARY KEY", " WITHOUT ROWID", ""),
        Dialect::Postgres => ("BIGINT PRIMARY KEY", "", " INCLUDE (value, u)"),
    };
    sql.replace("{key}", key)
        .replace("{clustered}", clustered)
        .replace("{covering}", covering)
}

/// What refuses to change or remove a row, for every table: an honest program cannot do it by mistake.
fn guards(dialect: Dialect) -> String {
    let names = TABLES.iter().map(|table| table.name);
    let names = names.chain(["entries", "migrations"]);
    let mut sql = String::new();
    if dialect == Dialect::Postgres {
        sql += "CREATE FUNCTION records_are_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN \
                RAISE EXCEPTION 'records are only added, never changed or removed'; END $$;";
    }
    for name in names {
        sql += &match dialect {
            Dialect::Sqlite => ["UPDATE", "DELETE"]
                .map(|what| {
                    format!(
                        "CREATE TRIGGER {name}_no_{what} BEFORE {what} ON {name} BEGIN \
                         SELECT RAISE(ABORT, 'records are only added, never changed or removed'); END;\n"
                    )
                })
                .concat(),
            Dialect::Postgres => format!(
                "CREATE TRIGGER {name}_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON {name} \
                 FOR EACH STATEMENT EXECUTE FUNCTION records_are_kept();\n"
            ),
        };
    }
    sql
}

fn version(database: &mut dyn Database) -> Result<i64, RecordsError> {
    let sql = match database.dialect() {
        Dialect::Sqlite => "SELECT name FROM sqlite_master WHERE type = 'table' AND name = 'migrations'",
        // From the catalogue itself: what the server keeps of it in memory may be of before it waited for the lock.
        Dialect::Postgres => {
            "SELECT tablename::text FROM pg_catalog.pg_tables \
             WHERE tablename = 'migrations' AND schemaname = current_schema()"
        }
    };
    let there = first(database, sql, &[])?.is_some_and(|row| !cell(&row, 0).text().is_empty());
    if !there {
        return Ok(0);
    }
    let highest = first(database, "SELECT max(number) FROM migrations", &[])?;
    Ok(highest.and_then(|row| cell(&row, 0).int()).unwrap_or(0))
}

/// Brings the tables to this program's version.
pub(crate) fn migrate(
    database: &mut dyn Database,
    address: &str,
    entered: &str,
    software: &str,
) -> Result<(), RecordsError> {
    let known = |found: i64| match found > VERSION {
        true => Err(RecordsError::Newer {
            address: address.to_owned(),
            found,
            known: VERSION,
        }),
        false => Ok(found),
    };
    if known(version(database)?)? == VERSION {
        return Ok(());
    }
    // Somebody else may do the same at this moment: it is looked at again once nobody can.
    database.begin()?;
    let done = (|| {
        let found = known(version(database)?)?;
        let dialect = database.dialect();
        if found == 0 {
            database.batch(&in_dialect(
                "CREATE TABLE migrations (number {key}, entered TEXT NOT NULL, software TEXT NOT NULL);",
                dialect,
            ))?;
        }
        for (number, sql) in (1..).zip(MIGRATIONS).filter(|(number, _)| *number > found) {
            database.batch(&in_dialect(sql, dialect))?;
            if number == 1 {
                database.batch(&guards(dialect))?;
            }
            database.execute(
                "INSERT INTO migrations (number, entered, software) VALUES ($1, $2, $3)",
                &[Cell::Int(number), entered.into(), software.into()],
            )?;
        }
        Ok(())
    })();
    match done {
        Ok(()) => database.commit(),
        Err(error) => {
            database.roll_back();
            Err(error)
        }
    }
}

/// Numbers of the migrations that a database has had, with when and by what.
pub(crate) fn history(database: &mut dyn Database) -> Result<Vec<Vec<Cell>>, RecordsError> {
    all(
        database,
        "SELECT number, entered, software FROM migrations ORDER BY number",
        &[],
    )
}
