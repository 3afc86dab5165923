//! `calibrate torque`, `calibrate angle` and `calibrate verify`.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde_json::json;
use truerim_analysis::calibration::series::Series;
use truerim_analysis::calibration::verify;

use super::args::RigArgs;
use super::contact;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::calibration::certificate::{Certificate, Subject, torques};
use crate::calibration::setup::TorqueSetup;
use crate::calibration::{CalibrationError, page, readings, setup};
use crate::drive::clock::today;
use crate::session::{Bench, look};

/// Samples of one reading, at 1,000 a second.
const SAMPLES: usize = 2_000;

#[derive(Debug, Subcommand)]
pub(super) enum Calibrate {
    /// Torque sensor, by dead weights on a lever arm
    Torque(TorqueArgs),
    /// Encoder, by its index or a protractor
    Angle(AngleArgs),
    /// One check weight against a certificate, before a shift
    Verify(VerifyArgs),
}

#[derive(Debug, Clone, Args)]
pub(super) struct TorqueArgs {
    /// What hangs where, and the readings if they stand in it (TOML); docs/calibration.md describes it
    pub(super) setup: PathBuf,
    /// Readings as CSV: mounting,series,phase,reading; instead of the series in the setup
    #[arg(long, value_name = "FILE", conflicts_with = "rig")]
    pub(super) readings: Option<PathBuf>,
    /// Rig file: take the readings from this rig, step by step, with the motor off
    #[arg(long, value_name = "FILE")]
    pub(super) rig: Option<PathBuf>,
    /// Serial port, instead of the rig file's
    #[arg(long, value_name = "PATH", requires = "rig")]
    pub(super) port: Option<String>,
    /// Seed of a virtual rig's noise
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// Folder for certificate.json, certificate.html and readings.csv; refused if it holds a certificate
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub(super) struct AngleArgs {
    /// Passes of the index, or a protractor series (TOML); docs/calibration.md describes it
    pub(super) setup: PathBuf,
    /// Folder for certificate.json and certificate.html; refused if it holds a certificate
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub(super) struct VerifyArgs {
    /// Certificate (JSON) of the torque sensor
    pub(super) certificate: PathBuf,
    /// Mass of the check weight on the arm of the certificate, kg
    #[arg(long, value_name = "KG")]
    pub(super) mass: f64,
    /// Reading without the weight, N·m
    #[arg(long, value_name = "N·m", allow_hyphen_values = true, requires = "reading")]
    pub(super) zero: Option<f64>,
    /// Reading with the weight, N·m
    #[arg(
        long,
        value_name = "N·m",
        allow_hyphen_values = true,
        requires = "zero",
        conflicts_with = "rig"
    )]
    pub(super) reading: Option<f64>,
    /// Rig file: take both readings from this rig, with the motor off
    #[arg(long, value_name = "FILE", required_unless_present = "reading")]
    pub(super) rig: Option<PathBuf>,
    /// Serial port, instead of the rig file's
    #[arg(long, value_name = "PATH", requires = "rig")]
    pub(super) port: Option<String>,
    /// Seed of a virtual rig's noise
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
}

pub(super) fn calibrate(what: &Calibrate, say: &Say) -> Result<Exit, Problem> {
    match what {
        Calibrate::Torque(args) => torque(args, say),
        Calibrate::Angle(args) => {
            let certificate = Certificate::of_angle(setup::angle(&args.setup)?)?;
            finish(&certificate, None, &args.out, say)
        }
        Calibrate::Verify(args) => check_weight(args, say),
    }
}

fn torque(args: &TorqueArgs, say: &Say) -> Result<Exit, Problem> {
    let mut setup = setup::torque(&args.setup)?;
    if let Some(path) = &args.readings {
        setup.series = readings::read(path)?;
    } else if let Some(rig) = &args.rig {
        let bench = open(rig, args.port.clone(), args.seed, say)?;
        let sensor = &bench.rig.torque_sensor;
        if (&sensor.model, &sensor.serial) != (&setup.head.model, &setup.head.serial) {
            return Err(Problem::Usage(format!(
                "{} calibrates the sensor {} {}, {} has {} {}: name the right one",
                setup.file, setup.head.model, setup.head.serial, bench.rig.file, sensor.model, sensor.serial
            )));
        }
        setup.series = take(&setup, &bench, say)?;
    }
    let table = readings::table(&setup.series);
    let certificate = Certificate::of_torque(setup);
    // Readings taken by hand and hour are not thrown away because they were refused.
    if certificate.is_err() && args.rig.is_some() {
        let kept = args.out.join("readings.csv");
        make_folder(&args.out)?;
        write_new(&kept, &table)?;
        say.note(&format!("The readings are kept in {}.", kept.display()));
    }
    finish(&certificate?, Some(&table), &args.out, say)
}

fn open(rig: &Path, port: Option<String>, seed: u64, say: &Say) -> Result<Bench, Problem> {
    let args = RigArgs {
        rig: rig.to_owned(),
        mounting: None,
        fault: Vec::new(),
        port,
        seed,
        operator: String::new(),
        clamping: String::new(),
        yes: false,
    };
    contact::open(&args, say)
}

/// Readings of one rig, one after the other.
struct Hanging<'a> {
    bench: &'a Bench,
    say: &'a Say,
    number: u64,
}

impl Hanging<'_> {
    /// One reading with `load_nm` on the arm. A person hangs it; the virtual rig of this process hangs it by itself.
    fn read(&mut self, load_nm: f64, what: &str) -> Result<f64, Problem> {
        self.number += 1;
        if self.bench.in_real_time() {
            let asked = self
                .say
                .ask(&format!("{what}, let it come to rest, and press Enter:"));
            if asked.is_none() {
                return Err(Problem::Refused(
                    "nobody can answer here; use a terminal, or give the readings with --readings".to_owned(),
                ));
            }
        }
        let found = look(self.bench, load_nm, self.number, SAMPLES)?;
        self.say.note(&format!(
            "  {what}: {:.6} N·m, standard deviation {:.6} N·m",
            found.mean_nm, found.sd_nm
        ));
        Ok(found.mean_nm)
    }
}

/// Two series in one mounting and one in another, the first of each with falling readings.
fn take(setup: &TorqueSetup, bench: &Bench, say: &Say) -> Result<Vec<Series>, Problem> {
    let refused = |refusal| CalibrationError::Refused {
        file: setup.file.clone(),
        refusal,
    };
    let loads = torques(&setup.loads).map_err(refused)?;
    let steps: Vec<(f64, f64)> = setup.loads.masses_kg.iter().copied().zip(loads).collect();
    let mut hanging = Hanging {
        bench,
        say,
        number: 0,
    };
    let mut all = Vec::new();
    for (mounting, falls) in [(1, true), (1, false), (2, true)] {
        say.note(&format!("Series {}, mounting {mounting}", all.len() + 1));
        if all.len() == 2 && bench.in_real_time() {
            say.note(
                "Take the arm and the sensor off, turn them by 90 to 180 degrees, and mount them again.",
            );
        }
        let hang = |kg: f64| format!("hang {kg} kg in all");
        let zero_before = hanging.read(0.0, "take every weight off")?;
        let mut rising = Vec::new();
        for (kg, nm) in &steps {
            rising.push(hanging.read(*nm, &hang(*kg))?);
        }
        let mut falling = None;
        if falls {
            // The greatest load is read again without having been moved.
            let mut down = Vec::new();
            for (kg, nm) in steps.iter().rev() {
                down.insert(0, hanging.read(*nm, &hang(*kg))?);
            }
            falling = Some(down);
        }
        let zero_after = Some(hanging.read(0.0, "take every weight off")?);
        all.push(Series {
            mounting,
            zero_before,
            rising,
            falling,
            zero_after,
        });
    }
    Ok(all)
}

fn make_folder(folder: &Path) -> Result<(), Problem> {
    std::fs::create_dir_all(folder).map_err(|source| Problem::Io {
        doing: "make the folder",
        path: folder.display().to_string(),
        source,
    })
}

/// Writes a file that must not be there yet.
fn write_new(path: &Path, text: &str) -> Result<(), Problem> {
    use std::io::Write;
    let file = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path);
    let done = file.and_then(|mut file| file.write_all(text.as_bytes()));
    done.map_err(|source| Problem::Io {
        doing: "write",
        path: path.display().to_string(),
        source,
    })
}

fn finish(certificate: &Certificate, table: Option<&str>, out: &Path, say: &Say) -> Result<Exit, Problem> {
    make_folder(out)?;
    write_new(&out.join("certificate.json"), &certificate.json())?;
    write_new(&out.join("certificate.html"), &page::html(certificate))?;
    if let Some(table) = table {
        write_new(&out.join("readings.csv"), table)?;
    }
    if let Subject::Torque {
        result,
        gain_uncertainty,
        ..
    } = &certificate.subject
    {
        say.result(&format!(
            "indicated over true torque {:.6}, expanded uncertainty {:.4} % (k = 2), class {}",
            result.slope,
            result.expanded_pct,
            result.class.map_or("none".to_owned(), |class| class.to_string())
        ));
        say.note(&format!(
            "In the rig file, [rig.torque_sensor]: calibrated = {}, due = {}, gain_uncertainty = \"{:.4} %\",\n\
             calibration = \"{}\" (a path from the rig file's folder).",
            certificate.head.date,
            certificate.head.due,
            100.0 * gain_uncertainty,
            out.join("certificate.json").display()
        ));
    }
    say.result(&format!(
        "certificate {}, identity {}…, due {}",
        out.join("certificate.html").display(),
        certificate.short_identity(),
        certificate.head.due
    ));
    say.json(&json!({ "identity": certificate.identity, "certificate": certificate }));
    Ok(Exit::Done)
}

fn check_weight(args: &VerifyArgs, say: &Say) -> Result<Exit, Problem> {
    let certificate = Certificate::read(&args.certificate)?;
    let Subject::Torque {
        loads,
        result,
        known,
        gain_uncertainty,
        ..
    } = &certificate.subject
    else {
        return Err(Problem::Usage(format!(
            "{} is the certificate of an angle; a check weight needs that of a torque sensor",
            args.certificate.display()
        )));
    };
    let refused = |refusal| CalibrationError::Refused {
        file: args.certificate.display().to_string(),
        refusal,
    };
    let mut one = loads.clone();
    one.masses_kg = vec![args.mass];
    let load_nm = torques(&one).map_err(refused)?.first().copied().unwrap_or(0.0);
    let reading_nm = match (&args.rig, args.reading, args.zero) {
        (Some(rig), _, _) => {
            let bench = open(rig, args.port.clone(), args.seed, say)?;
            let mut hanging = Hanging {
                bench: &bench,
                say,
                number: 0,
            };
            let zero = hanging.read(0.0, "take every weight off")?;
            hanging.read(load_nm, &format!("hang {} kg", args.mass))? - zero
        }
        (None, Some(reading), Some(zero)) => reading - zero,
        (None, _, _) => return Err(Problem::Usage("give --zero and --reading, or --rig".to_owned())),
    };
    // Reading and zero, each rounded to the resolution.
    let reading_u_nm = known.resolution / 6.0_f64.sqrt();
    let uncertainties = [*gain_uncertainty, loads.uncertainty.combined(), reading_u_nm];
    let found = verify::verify([load_nm, reading_nm], result.slope, uncertainties).map_err(refused)?;
    let overdue = certificate.head.due.as_str() < today().as_str();
    say.result(&format!(
        "load {:.5} N·m, reading {:.5} N·m, deviation {:+.4} %, allowed ±{:.4} %: {}",
        found.load_nm,
        found.reading_nm,
        found.deviation_pct,
        found.allowed_pct,
        if found.holds { "holds" } else { "DOES NOT HOLD" }
    ));
    if overdue {
        say.error(&format!(
            "warning: the calibration ran out on {}; calibrate again",
            certificate.head.due
        ));
    }
    say.json(&json!({ "verification": found, "identity": certificate.identity, "overdue": overdue }));
    if found.holds {
        return Ok(Exit::Done);
    }
    say.error("the sensor is not what its certificate says: look for what rubs or is loose, and calibrate again before measuring");
    Ok(Exit::Rig)
}
