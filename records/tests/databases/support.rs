//! Databases to test on, and measurements of invented units to put into them.

pub(crate) mod cluster;

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

use records::content::{Calibration, Fit, Measured, Procedure, Program, Recording, Rig, Unit};
use records::{Address, Stamp, Store};

use cluster::Cluster;

/// A database of a test's own.
pub(crate) struct Place {
    pub(crate) address: Address,
    _folder: Option<tempfile::TempDir>,
}

/// A file of SQLite.
pub(crate) fn sqlite() -> Place {
    let folder = tempfile::tempdir().unwrap();
    Place {
        address: Address::File(folder.path().join("records.db")),
        _folder: Some(folder),
    }
}

/// A database on the server of this process.
pub(crate) fn postgres() -> Place {
    static SERVER: OnceLock<Cluster> = OnceLock::new();
    static NEXT: AtomicU32 = AtomicU32::new(0);
    let server = SERVER.get_or_init(|| Cluster::start("-c shared_buffers=32MB"));
    let name = format!("records_{}", NEXT.fetch_add(1, Ordering::Relaxed));
    Place {
        address: server.make(&name).parse().unwrap(),
        _folder: None,
    }
}

/// Runs each test on both kinds of database.
#[macro_export]
macro_rules! on_both {
    ($($test:ident)+) => {
        mod sqlite {
            $(#[test] fn $test() { super::$test(&$crate::support::sqlite()); })+
        }
        mod postgres {
            $(#[test] fn $test() { super::$test(&$crate::support::postgres()); })+
        }
    };
}

impl Place {
    pub(crate) fn open(&self) -> Store {
        Store::open(&self.address, true, &stamp()).unwrap()
    }

    /// Runs statements past the program, as somebody with the database's password can; returns what the database said.
    pub(crate) fn by_hand(&self, sql: &str) -> Result<(), String> {
        match &self.address {
            Address::File(path) => {
                let connection = rusqlite::Connection::open(path).unwrap();
                connection.execute_batch(sql).map_err(|error| error.to_string())
            }
            Address::Server(url) => {
                let mut client = postgres::Client::connect(url, postgres::NoTls).unwrap();
                let done = client.batch_execute(sql);
                done.map_err(|error| {
                    error
                        .as_db_error()
                        .map_or(error.to_string(), |e| e.message().to_owned())
                })
            }
        }
    }

    /// The same, after taking down what refuses changes to a table.
    pub(crate) fn damage(&self, table: &str, sql: &str) {
        let down = match &self.address {
            Address::File(_) => format!("DROP TRIGGER {table}_no_UPDATE; DROP TRIGGER {table}_no_DELETE;"),
            Address::Server(_) => format!("ALTER TABLE {table} DISABLE TRIGGER USER;"),
        };
        self.by_hand(&format!("{down} {sql}")).unwrap();
    }
}

pub(crate) fn stamp() -> Stamp {
    Stamp {
        entered: "2026-03-02T10:05:00+01:00".into(),
        by: "Robin Vale".into(),
        software: "truerim 0.1.0 release".into(),
    }
}

pub(crate) fn program(version: &str) -> Program {
    Program {
        name: "truerim".into(),
        version: version.into(),
        build: "release".into(),
    }
}

/// Measurement `n` of a unit.
pub(crate) fn recording(serial: &str, n: u32) -> Recording {
    Recording {
        seal: records::sha256(format!("{serial} {n}")),
        seal_method: "sha256-objects-1".into(),
        run_id: format!("{serial}-{n}"),
        created: format!("2026-03-{:02}T10:00:00+01:00", 1 + n % 28),
        unit: Unit {
            model: "Marten 7".into(),
            serial: serial.into(),
            firmware: "0.1".into(),
        },
        bench: "north".into(),
        rig: Rig {
            name: "Belt unit on plate A".into(),
            kind: "virtual".into(),
            fixture: "Plate A".into(),
            sha256: records::sha256("rig"),
        },
        mounting: "clamped".into(),
        operator: "Robin Vale".into(),
        batch: String::new(),
        calibration: Calibration {
            sensor: "Heron 20 TS-0001".into(),
            certificate: "V-2026-001".into(),
            calibrated: "2026-03-02".into(),
            due: "2028-03-02".into(),
            ..Calibration::default()
        },
        procedure: Procedure {
            name: "quick".into(),
            sha256: records::sha256("quick"),
        },
        software: program("0.1.0"),
        seed: 1,
        samples: 288_212,
        duration_s: 72.052_75,
        completion: "complete".into(),
        cause: String::new(),
        file: format!("out/{serial}-{n}/recording.h5"),
    }
}

/// A value with its uncertainty.
pub(crate) fn measured(id: &str, unit: &str, value: f64, u: f64) -> Measured {
    Measured {
        id: id.into(),
        unit: unit.into(),
        value: Some(value),
        u: Some(u),
        interval: Some([value - 2.0 * u, value + 2.0 * u]),
        level: Some(0.95),
        n: Some(20),
        dof: Some(19.0),
        ..Measured::default()
    }
}

/// A fit of a recording.
pub(crate) fn fit_of(recording: &Recording, version: &str, latency_s: f64) -> Fit {
    Fit {
        seal: recording.seal.clone(),
        software: program(version),
        sound: true,
        failed_checks: Vec::new(),
        measured: vec![
            measured("latency", "s", latency_s, 4.5e-5),
            measured("bandwidth", "Hz", 61.25, 0.75),
            Measured {
                id: "coulomb".into(),
                refused: Some("never_moved".into()),
                ..Measured::default()
            },
        ],
    }
}

/// Adds measurement `n` of a unit.
pub(crate) fn add(store: &mut Store, serial: &str, n: u32) -> records::Added {
    let recording = recording(serial, n);
    let fit = fit_of(&recording, "0.1.0", 0.004 + f64::from(n) * 1e-5);
    store.add(&recording, &fit, &stamp()).unwrap()
}
