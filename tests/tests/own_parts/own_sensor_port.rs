//! Sensors on a pseudo-terminal: what they send is read, what is damaged is counted, and a port that goes away is told.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use std::os::fd::OwnedFd;
use std::sync::mpsc::{Receiver, channel};

use acceptance::parts::bench;
use acceptance::safety::program::wait_for;
use bench_core::sensor::Reading;
use rustix::pty::OpenptFlags;
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use truerim::drive::clock::HostClock;
use truerim::drive::sense::{Sense, SensorPort};

/// The far end of a port, and its name.
fn port() -> (OwnedFd, String) {
    let far = rustix::pty::openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    rustix::pty::grantpt(&far).unwrap();
    rustix::pty::unlockpt(&far).unwrap();
    let mut settings = tcgetattr(&far).unwrap();
    settings.make_raw();
    tcsetattr(&far, OptionalActions::Now, &settings).unwrap();
    let name = rustix::pty::ptsname(&far, Vec::new()).unwrap();
    (far, name.to_string_lossy().into_owned())
}

fn open(sense: &str, port: &str) -> SensorPort {
    let (bench, _) = bench(&sense.replace("PORT", port), 1);
    SensorPort::open(&bench.rig.sense, HostClock::start())
        .unwrap()
        .unwrap()
}

fn say(far: &OwnedFd, text: &[u8]) {
    let mut left = text;
    while !left.is_empty() {
        let written = rustix::io::write(far, left).unwrap();
        left = &left[written..];
    }
}

const LINES: &str = r#"
[rig.sense]
kind = "lines"
port = "PORT"
baud = 115200
pattern = "{*}: {torque} N·m"
unit = "mN·m"
scale = 1000
rate = "1 kHz"
delay = "1 ms"
way = "5 ms"
time_bound = "10 ms"
"#;

#[test]
fn lines_are_read_and_what_is_damaged_is_counted() {
    let (far, name) = port();
    let mut sensor = open(LINES, &name);
    say(&far, b"alf a line N\xc2\xb7m\r\n"); // as whoever opens a port in the middle hears it
    let mut sent = 0;
    let mut readings: Vec<Reading> = Vec::new();
    wait_for("200 readings", || {
        for _ in 0..20 {
            let text = match sent % 10 {
                3 => "ch1: OL N·m\r\n".to_owned(),
                5 => "\u{1}\u{2}:garbage\r\n".to_owned(),
                7 => format!("ch1: {sent} N·m; and more\r\n"),
                _ => format!("ch1: {sent}.5 N·m\r\n"),
            };
            // Half a line, then the rest.
            let (front, back) = text.as_bytes().split_at(5);
            say(&far, front);
            say(&far, back);
            sent += 1;
        }
        sensor.poll(&mut |reading| readings.push(reading));
        (readings.len() >= 200).then_some(())
    });
    // Each is one that was sent whole, in order: N.5 with N not ending in 3, 5 or 7.
    for pair in readings.windows(2) {
        assert!(pair[1].torque_nm > pair[0].torque_nm, "{pair:?}");
    }
    for reading in &readings {
        let number = reading.torque_nm - 0.5;
        assert!((number - number.round()).abs() < 1e-9, "{reading:?}");
        assert!(
            ![3, 5, 7].contains(&((number.round() as i64) % 10)),
            "{reading:?}"
        );
    }
    drop(far);
    let (account, failed) = wait_for("the port's end", || {
        let told = sensor.told();
        told.1.is_some().then_some(told)
    });
    assert!(account.misfits > 60, "{account:?}");
    assert!(account.misfit.is_some());
    assert!(failed.unwrap().contains("check the cable"));
    assert!(sensor.account().len() >= 3);
}

const SCPI: &str = r#"
[rig.sense]
kind = "scpi"
port = "PORT"
baud = 115200
query = "MEAS:TORQ?"
setup = ["CONF:FILT 2 MS"]
identity = "Demo"
end = "cr lf"
unit = "N·m"
rate = "2 kHz"
delay = "1 ms"
patience = "20 ms"
time_bound = "10 ms"
"#;

/// An instrument: answers what it is asked, one question in twenty with something else. Tells what it was sent.
fn instrument(far: OwnedFd) -> Receiver<String> {
    let (tell, told) = channel();
    std::thread::spawn(move || {
        let (mut heard, mut count, mut error) = (String::new(), 0_u32, false);
        let mut chunk = [0; 256];
        while let Ok(length @ 1..) = rustix::io::read(&far, &mut chunk) {
            heard.push_str(&String::from_utf8_lossy(&chunk[..length]));
            while let Some((line, rest)) = heard.split_once("\r\n") {
                let (line, rest) = (line.to_owned(), rest.to_owned());
                heard = rest;
                match line.as_str() {
                    "*IDN?" => say(&far, b"Demo,Indicator 3,0042,1.0\n"),
                    "SYST:ERR?" if std::mem::take(&mut error) => {
                        say(&far, b"-230,\"Data corrupt or stale\"\n")
                    }
                    "SYST:ERR?" => say(&far, b"0,\"No error\"\n"),
                    "MEAS:TORQ?" => {
                        count += 1;
                        match count % 20 {
                            5 => {
                                error = true;
                                say(&far, b"9.91E+37\n");
                            }
                            9 => say(&far, b"\xff\xfe\n"),
                            13 => {} // silence
                            17 => say(&far, b"1.0 lbf\n"),
                            _ => say(&far, format!("{:+.5E}\n", f64::from(count) * 1e-3).as_bytes()),
                        }
                    }
                    _ => {}
                }
                if tell.send(line).is_err() {
                    return;
                }
            }
        }
    });
    told
}

#[test]
fn an_instrument_is_asked_and_only_readings_are_taken() {
    let (far, name) = port();
    let told = instrument(far);
    let mut sensor = open(SCPI, &name);
    let mut readings: Vec<Reading> = Vec::new();
    wait_for("80 readings", || {
        sensor.poll(&mut |reading| readings.push(reading));
        (readings.len() >= 80).then_some(())
    });
    for reading in &readings {
        let count = (reading.torque_nm * 1e3).round() as i64;
        assert!(![5, 9, 13, 17].contains(&(count % 20)), "{reading:?}");
        assert!(reading.bound_ns >= 0.0 && reading.bound_ns <= 20e6, "{reading:?}");
    }
    let said: Vec<String> = told.try_iter().collect();
    assert_eq!(said[..4], ["*CLS", "*IDN?", "CONF:FILT 2 MS", "SYST:ERR?"]);
    wait_for("its error", || {
        let (account, _) = sensor.told();
        let error = account.error?;
        assert_eq!(account.identity.as_deref(), Some("Demo,Indicator 3,0042,1.0"));
        assert!(error.contains("-230"), "{error}");
        Some(())
    });
}

#[test]
fn another_instrument_is_not_read() {
    let (far, name) = port();
    let _told = instrument(far);
    let sensor = open(
        &SCPI.replace("identity = \"Demo\"", "identity = \"Other\""),
        &name,
    );
    let error = wait_for("its identity", || sensor.told().0.error);
    assert!(error.contains("rig.sense.identity"), "{error}");
}
