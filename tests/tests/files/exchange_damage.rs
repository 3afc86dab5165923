//! HDF5, netCDF-4 and MATLAB 7.3 files with wrong bytes. HDF5's own library reads them and can crash, which no program can
//! catch: so the flips are imported by a process of their own, and the program itself is held against every crash found.
#![cfg(unix)]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use acceptance::program::under_test;
use acceptance::recovery::root;
use rustix::process::Signal;
use tempfile::tempdir;
use truerim::exchange::{Map, Repairs, import, limit};

/// Tells the other process with which flip to begin.
const FIRST: &str = "TRUERIM_TEST_FLIPS_FROM";
/// Numbers of the flips: among these HDF5 1.10.8 crashes once, and once goes round in circles.
const FLIPS: std::ops::Range<u64> = 90..180;
/// Flips for one process at most.
const AT_ONCE: u64 = 30;
const FILES: [&str; 2] = ["xarray.nc", "level73.mat"];
/// Processor time, s, and address space for the flips of one process, which take a tenth of it.
const LIMITS: (u64, u64) = (2, 2 << 30);

/// What is where in a file; the first says its own units, but for the torque.
fn map_of(name: &str) -> String {
    let (torque, command, angle) = match name {
        "xarray.nc" => ("mN·m", "", ""),
        _ => ("N·m", "unit = \"N·m\"\n", "unit = \"deg\"\n"),
    };
    format!(
        "[time]\ncolumn = \"t\"\nunit = \"s\"\n[columns.commanded]\ncolumn = \"command\"\n{command}\
         [columns.measured]\ncolumn = \"torque\"\nunit = \"{torque}\"\n[columns.rim_angle]\ncolumn = \"angle\"\n{angle}\
         [rig]\nmounting = \"clamped\"\n[unit]\nmodel = \"M\"\nserial = \"M-1\"\n"
    )
}

fn whole(name: &str) -> Vec<u8> {
    std::fs::read(root().join("tests/data/exchange").join(name)).unwrap()
}

/// Flip number `number`: which file, and its bytes with one to three wrong bits, half of the time in its first part, where
/// trees, heaps and headers are.
fn flipped(number: u64) -> (&'static str, Vec<u8>) {
    let name = FILES[(number % 2) as usize];
    let mut bytes = whole(name);
    let mut state = (number + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    let mut random = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    };
    let long = bytes.len() as u64;
    for _ in 0..1 + random() % 3 {
        let within = if random() % 2 == 0 { long.min(6_000) } else { long };
        bytes[(random() % within) as usize] ^= 1 << (random() % 8);
    }
    (name, bytes)
}

/// The other process's part: says the number of each flip before and its outcome behind.
fn import_all_from(first: u64) {
    limit(LIMITS.0, LIMITS.1);
    let folder = tempdir().unwrap();
    for number in first..FLIPS.end.min(first + AT_ONCE) {
        let (name, bytes) = flipped(number);
        let map = Map::from_toml("map.toml", &map_of(name)).unwrap();
        let file = folder.path().join(name);
        let out = folder.path().join("out.h5");
        std::fs::write(&file, bytes).unwrap();
        println!("\nflip {number}");
        let word = match import(&file, &map, Repairs::ALL, &out) {
            Ok(_) => "read",
            Err(_) => "refused",
        };
        assert_eq!(out.exists(), word == "read");
        let _ = std::fs::remove_file(&out);
        println!("\n{word} {number}");
    }
    println!("\nall done");
}

fn again(first: u64) -> Output {
    Command::new(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "exchange_damage::wrong_bytes_in_hdf5_end_as_errors",
            "--nocapture",
        ])
        .env(FIRST, first.to_string())
        .output()
        .unwrap()
}

#[test]
fn wrong_bytes_in_hdf5_end_as_errors() {
    if let Ok(first) = std::env::var(FIRST) {
        return import_all_from(first.parse().unwrap());
    }
    let (mut crashed, mut endless, mut refused, mut read) = (Vec::new(), Vec::new(), 0, 0);
    let mut first = FLIPS.start;
    while first < FLIPS.end {
        let output = again(first);
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        let count = |word: &str| said.lines().filter(|line| line.starts_with(word)).count() as u64;
        refused += count("refused ");
        read += count("read ");
        if said.lines().any(|line| line == "all done") {
            first += AT_ONCE;
            continue;
        }
        let last = said.lines().rev().find_map(|line| line.strip_prefix("flip "));
        let last: u64 = last.unwrap().parse().unwrap();
        match output.status.signal() {
            Some(signal) if signal == Signal::XCPU.as_raw() => endless.push(last),
            Some(signal) if signal != Signal::KILL.as_raw() => crashed.push(last),
            _ => panic!(
                "flip {last}: only the library may end it, {}: {said}{}",
                output.status,
                String::from_utf8_lossy(&output.stderr)
            ),
        }
        first = last + 1;
    }
    println!(
        "{refused} refused, {read} read; the library crashed on {crashed:?} and came to no end on {endless:?}"
    );
    let ended = (crashed.len() + endless.len()) as u64;
    assert_eq!(refused + read + ended, FLIPS.end - FLIPS.start);
    assert!(refused > 20 && read > 20 && ended < 10);
    // Those without end would take the program's own two minutes.
    for number in crashed.into_iter().take(2) {
        the_program_outlives(number);
    }
}

/// The program itself says what is wrong, ends with the code for a bad file, and leaves nothing behind.
fn the_program_outlives(number: u64) {
    let (name, bytes) = flipped(number);
    let folder = tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    std::fs::write(at(name), bytes).unwrap();
    std::fs::write(at("map.toml"), map_of(name)).unwrap();
    let output = Command::new(program())
        .arg("import")
        .arg(at(name))
        .arg("--map")
        .arg(at("map.toml"))
        .arg("--out")
        .arg(at("out.h5"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "flip {number}: {said}");
    assert!(
        said.contains(name) && said.contains("crashed"),
        "flip {number}: {said}"
    );
    let left = std::fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(left, 2, "the data and the map, nothing else");
}

fn program() -> PathBuf {
    under_test().unwrap_or_else(|why| panic!("{why}"))
}

/// A sound file goes through the second process as any other does.
#[test]
fn the_program_imports_sound_hdf5_in_a_process_of_its_own() {
    let folder = tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    std::fs::write(at("map.toml"), map_of("xarray.nc")).unwrap();
    let import = |data: &Path| {
        Command::new(program())
            .arg("import")
            .arg(data)
            .arg("--map")
            .arg(at("map.toml"))
            .arg("--out")
            .arg(at("out.h5"))
            .output()
            .unwrap()
    };
    let sound = root().join("tests/data/exchange/xarray.nc");
    let output = import(&sound);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        output.status.success() && said.matches("Seal ").count() == 1,
        "{said}"
    );
    assert!(at("out.h5").exists());
    // And what the second process refuses is refused with its words and code.
    let output = import(&sound);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert_eq!(said.matches("out.h5").count(), 1, "said once: {said}");
}
