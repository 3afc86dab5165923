//! A writer that is killed, and files that are cut off or overwritten: an error or the safe rows, never a panic.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use crate::recording_support as support;
use tempfile::tempdir;
use truerim::recording::{Completion, Recording, RecordingWriter, recover, verify};

/// Not a test by itself: the process that is killed. Writes until it dies, telling after each block what is safe.
#[test]
fn child_that_writes_until_it_is_killed() {
    let Some(path) = std::env::var_os("TRUERIM_TEST_CHILD") else {
        return;
    };
    let mut writer = RecordingWriter::create(Path::new(&path), &support::header()).unwrap();
    support::write_notes(&mut writer).unwrap();
    for start in (0..10_000_000).step_by(512) {
        support::write_rows(&mut writer, start, start + 512, 512).unwrap();
        println!("safe {}", writer.safe_rows());
    }
}

#[test]
fn a_killed_writer_loses_nothing_that_it_called_safe() {
    let directory = tempdir().unwrap();
    for (round, lines) in [1_usize, 5, 9, 14, 30].into_iter().enumerate() {
        let path = directory.path().join(format!("killed{round}.h5"));
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args([
                "--exact",
                "recording_crash::child_that_writes_until_it_is_killed",
                "--nocapture",
            ])
            .env("TRUERIM_TEST_CHILD", &path)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let told = BufReader::new(child.stdout.take().unwrap())
            .lines()
            .map_while(Result::ok)
            .filter_map(|line| line.split("safe ").nth(1)?.trim().parse::<usize>().ok());
        let safe = told.take(lines).last().unwrap();
        child.kill().unwrap();
        child.wait().unwrap();

        let recording = Recording::open(&path).unwrap();
        assert!(recording.is_live());
        let rows = recording.rows();
        assert!(rows >= safe, "{rows} rows of {safe}");
        support::check_counts(&recording, rows);
        assert_eq!(recording.events().len(), 1);
        let out = directory.path().join(format!("recovered{round}.h5"));
        recover(&path, &out).unwrap();
        assert_eq!(Recording::open(&out).unwrap().rows(), rows);
        assert!(verify(&out).unwrap().is_intact());
    }
}

/// Not a test by itself: the process whose file may not grow beyond a limit, as on a disk that is suddenly full.
#[test]
fn child_that_writes_until_it_gets_an_error() {
    let Some(path) = std::env::var_os("TRUERIM_TEST_LIMITED") else {
        return;
    };
    let mut writer = RecordingWriter::create(Path::new(&path), &support::header()).unwrap();
    let noted = support::write_notes(&mut writer);
    println!("noted {}", usize::from(noted.is_ok()));
    let starts = (0..10_000_000).step_by(512);
    let mut rows = starts.map(|start| support::write_rows(&mut writer, start, start + 512, 512));
    let error = noted.err().or_else(|| rows.find_map(Result::err));
    drop(rows);
    println!("safe {}", writer.safe_rows());
    println!("error {}", error.unwrap());
    println!("next {}", writer.flush().unwrap_err());
    println!("finish {}", writer.finish(&Completion::Complete).unwrap_err());
}

/// `ulimit -f` makes a write fail with EFBIG where a full disk makes it fail with ENOSPC; HDF5 handles both alike.
#[test]
fn the_first_failing_write_ends_the_recording_and_the_safe_rows_stay() {
    let directory = tempdir().unwrap();
    for blocks in [100, 237, 411] {
        let path = directory.path().join(format!("limited{blocks}.h5"));
        let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        let output = Command::new("sh")
            .args(["-c", &script])
            .arg(std::env::current_exe().unwrap())
            .args([
                "--exact",
                "recording_crash::child_that_writes_until_it_gets_an_error",
                "--nocapture",
            ])
            .env("TRUERIM_TEST_LIMITED", &path)
            .output()
            .unwrap();
        let told = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(
            output.status.success(),
            "{told}\n{}",
            String::from_utf8_lossy(&output.stderr)
        );
        let after = |word: &str| {
            told.split(word)
                .nth(1)
                .and_then(|t| t.lines().next())
                .unwrap_or_default()
                .to_owned()
        };
        let safe: usize = after("safe ").parse().unwrap();
        let error = after("\nerror ");
        assert!(
            error.contains("limited") && error.contains("bytes free") && error.contains("recover"),
            "{error}"
        );
        assert!(error.contains(&format!("{safe} rows")), "{error}");
        assert!(
            after("\nnext ").contains("takes no more") && after("\nfinish ").contains("takes no more"),
            "{told}"
        );

        // The end that HDF5 noted may never have been reached, and it opens no such file by itself.
        if let Err(error) = Recording::open(&path) {
            assert!(error.to_string().contains("truerim recover"), "{error}");
        }
        let before = std::fs::read(&path).unwrap();
        let out = directory.path().join(format!("recovered{blocks}.h5"));
        recover(&path, &out).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), before);
        let recording = Recording::open(&out).unwrap();
        assert_eq!(recording.rows(), safe);
        support::check_counts(&recording, safe);
        assert_eq!(recording.events().len().to_string(), after("noted "));
        assert!(verify(&out).unwrap().is_intact());
    }
}

fn sealed(path: &Path) -> Vec<u8> {
    let mut writer = RecordingWriter::create(path, &support::header()).unwrap();
    support::write_rows(&mut writer, 0, 3_500, 64).unwrap();
    support::write_notes(&mut writer).unwrap();
    writer.finish(&Completion::Complete).unwrap();
    std::fs::read(path).unwrap()
}

/// Opens and reads all there is; whether that works does not matter, only that it ends with an answer.
fn read_everything(path: &Path) -> Result<(), truerim::recording::RecordingError> {
    let recording = Recording::open(path)?;
    for channel in &recording.header().channels {
        recording.values(&channel.name, 0..recording.rows())?;
    }
    recording.ticks(0..recording.rows())?;
    verify(path).map(drop)
}

#[test]
fn a_file_cut_off_anywhere_is_an_error() {
    let directory = tempdir().unwrap();
    let whole = sealed(&directory.path().join("run.h5"));
    for part in 0..60 {
        let length = whole.len() * part / 60;
        let path = directory.path().join(format!("cut{part}.h5"));
        std::fs::write(&path, &whole[..length]).unwrap();
        let error = read_everything(&path).unwrap_err().to_string();
        assert!(error.contains("cut"), "names the file: {error}");
        let out = directory.path().join("out.h5");
        assert!(
            recover(&path, &out).is_err(),
            "a sealed file that was cut off is not a run that was cut short"
        );
        assert!(!out.exists());
    }
}

#[test]
fn garbage_and_a_missing_file_are_errors_that_say_so() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("garbage.h5");
    let garbage: Vec<u8> = (0_u32..100_000)
        .map(|i| (i.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    std::fs::write(&path, &garbage).unwrap();
    assert!(
        read_everything(&path)
            .unwrap_err()
            .to_string()
            .contains("not a truerim recording")
    );
    let mut signed = b"\x89HDF\r\n\x1a\n".to_vec();
    signed.extend_from_slice(&garbage);
    std::fs::write(&path, &signed).unwrap();
    assert!(read_everything(&path).is_err());
    std::fs::write(&path, b"").unwrap();
    assert!(
        read_everything(&path)
            .unwrap_err()
            .to_string()
            .contains("not a truerim recording")
    );
    let error = read_everything(&directory.path().join("none.h5"))
        .unwrap_err()
        .to_string();
    assert!(error.contains("none.h5") && error.contains("open"), "{error}");
    assert!(read_everything(directory.path()).is_err());
}

#[test]
fn any_bit_turned_over_is_noticed() {
    let directory = tempdir().unwrap();
    let whole = sealed(&directory.path().join("run.h5"));
    let path = directory.path().join("turned.h5");
    let trailer = 48; // its own bytes are not covered
    for step in 0..1000 {
        let mut bytes = whole.clone();
        let position = (whole.len() - trailer - 1) * step / 999;
        bytes[position] ^= 1 << (step % 8);
        std::fs::write(&path, &bytes).unwrap();
        assert!(
            read_everything(&path).is_err(),
            "byte {position} of {}",
            whole.len()
        );
    }
}
