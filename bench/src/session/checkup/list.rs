//! The findings, put together.

use bench_core::interlock::Condition;
use bench_core::rig::{Mounting, NO_PORT, Rig};
use bench_core::run::{Counters, End, Failure};
use rig_link::message::{Capabilities, Channel, Identity};
use rig_link::{ChannelKind, Unit};

use super::clock::Rate;
use super::{Finding, Pressed, Smallest, Verdict};
use crate::drive::Said;
use crate::drive::ports::{self, LatencyTimer};
use crate::drive::schedule::Granted;
use crate::session::{Bench, Checked, Way};

use Verdict::{Attention, Bad, Good, NotTried};

/// What was looked at besides the proofs.
#[derive(Debug, Default)]
pub struct Extras {
    /// The smallest torque, or why it could not be played; `None` where it was not asked for or the rim would turn.
    pub torque: Option<Result<Smallest, String>>,
    /// The emergency stop, or why it could not be watched; `None` where nobody was asked to press.
    pub emergency: Option<Result<Pressed, String>>,
    /// What the parts of the rig said.
    pub account: Vec<Said>,
}

/// Everything that was found, in the order in which one would mend it.
#[must_use]
pub fn findings(bench: &Bench, checked: &Checked, extras: &Extras) -> Vec<Finding> {
    let mut all = port(bench);
    all.extend(extras.account.iter().map(|said| {
        let advice =
            "compare with the instrument's own display and manual, and correct rig.sense or rig.drive";
        let verdict = if said.amiss { Attention } else { Good };
        Finding::new("part", verdict, said.words.clone(), advice)
    }));
    all.push(ended(checked));
    all.extend(
        checked
            .identity()
            .map(|identity| self::identity(identity, &bench.rig)),
    );
    all.extend(rate(checked));
    all.extend(checked.clock().map(|rate| clock(&rate)));
    all.extend(channels(checked, &bench.rig));
    all.push(round_trips(checked));
    all.push(host(checked));
    all.extend(proofs(checked));
    all.push(torque(extras, &bench.rig));
    all.push(emergency(extras));
    all
}

fn port(bench: &Bench) -> Vec<Finding> {
    let path = match &bench.way {
        Way::LockStep => return Vec::new(),
        Way::Port(port) if port == NO_PORT => return Vec::new(),
        Way::Port(port) => ports::resolve(port).unwrap_or_else(|_| port.clone()),
    };
    let listed = ports::list();
    let real = std::fs::canonicalize(&path).unwrap_or_else(|_| path.clone().into());
    let own = listed.iter().find(|port| port.path == real);
    let advice = "give rig.link.port by its stable name, or as usb:VENDOR:PRODUCT, so that another plugging in does not change it";
    let fixed = path.starts_with("/dev/serial/") || bench.rig.link.port.starts_with("usb:");
    let verdict = match own {
        Some(port) if port.usb.is_some() && !fixed => Attention,
        _ => Good,
    };
    let words = own.map_or_else(
        || format!("{path}, not in the system's list"),
        ToString::to_string,
    );
    let timer = ports::lower_latency(real.as_path());
    vec![Finding::new("port", verdict, words, advice), latency(&timer)]
}

fn latency(timer: &LatencyTimer) -> Finding {
    let verdict = match timer {
        LatencyTimer::Left(..) => Attention,
        LatencyTimer::None | LatencyTimer::Short(_) | LatencyTimer::Set(..) => Good,
    };
    let advice = "set it once as root, or by a udev rule; round trips and reactions contain it";
    Finding::new("latency timer", verdict, timer.to_string(), advice)
}

/// Who answered, and whether it can do what the rig file permits.
fn identity(identity: &Identity, rig: &Rig) -> Finding {
    let (full_nm, limit_nm) = (identity.full_scale_nm, rig.limits.torque_nm);
    let verdict = if full_nm >= limit_nm { Good } else { Bad };
    let brake = if identity.capabilities.has(Capabilities::BRAKE) {
        "can brake"
    } else {
        "cannot brake"
    };
    let words = format!(
        "{} {}, firmware {}, rig link {}.{}, {brake}, full scale {full_nm:.3} N·m; the rig file permits {limit_nm:.3} N·m",
        identity.model.as_str(),
        identity.serial.as_str(),
        identity.firmware.as_str(),
        identity.major,
        identity.minor
    );
    let advice = "another controller than this rig file's: correct rig.link.port, or rig.limits.torque";
    Finding::new("identity", verdict, words, advice)
}

/// An amount with a prefix that keeps it readable.
fn amount(si: f64, unit: Unit) -> String {
    let unit = match unit {
        Unit::NewtonMetre => "N·m",
        Unit::Celsius => "°C",
        Unit::RadianPerSecond => "rad/s",
        other => other.udunits(),
    };
    let (factor, prefix) = match si.abs() {
        size if size >= 0.1 || size == 0.0 || unit == "1" || unit == "°C" => (1.0, ""),
        size if size >= 1e-4 => (1e3, "m"),
        _ => (1e6, "µ"),
    };
    format!("{:.2} {prefix}{unit}", si * factor)
}

fn ended(checked: &Checked) -> Finding {
    let end = &checked.outcome.end;
    let advice = "read the message; nothing else on this page is complete without these proofs";
    let verdict = if *end == End::Completed { Good } else { Bad };
    Finding::new("proofs", verdict, end.to_string(), advice)
}

fn rate(checked: &Checked) -> Option<Finding> {
    let found = checked.noise().rate_hz()?;
    let asked = 1e6 / f64::from(checked.configuration()?.sample_period_us);
    let Counters { rows, rows_lost, .. } = checked.outcome.counters;
    let off = found / asked - 1.0;
    let verdict = if rows_lost > 0 || off.abs() > 1e-3 {
        Bad
    } else {
        Good
    };
    let words = format!("{found:.1} of {asked:.0} samples a second, {rows_lost} of {rows} lost");
    let advice = "raise the baud rate, take another cable or USB port, or ask for a lower sample rate";
    Some(Finding::new("sample rate", verdict, words, advice))
}

/// The rig's clock. Everything is told in its ticks, so what it is off by is in every time and every frequency.
fn clock(rate: &Rate) -> Finding {
    // Crystals keep 100 ppm (common practice); 500 trip a run (`bench_core::run`, clock watch).
    let verdict = match rate.least_ppm() {
        least if least > 500.0 => Bad,
        least if least > 100.0 => Attention,
        _ => Good,
    };
    let words = format!(
        "{:+.0} ± {:.0} ppm against this computer's, over {:.1} s",
        rate.ppm, rate.bound_ppm, rate.over_s
    );
    let advice = "its ticks must come from a crystal, not from a resonator or an RC oscillator; look at the tick's prescaler";
    Finding::new("rig clock", verdict, words, advice)
}

fn channels(checked: &Checked, rig: &Rig) -> Vec<Finding> {
    let look = |(place, channel): (usize, &Channel)| {
        let rest = checked.noise().channel(place)?;
        let factor = channel.scale.abs();
        let name = channel.name.as_str();
        let (sd, mean) = (rest.sd * factor, rest.mean * channel.scale + channel.offset);
        let noise = format!("noise {} ({:.1} counts)", amount(sd, channel.unit), rest.sd);
        let words = format!(
            "mean {}, {noise}; a count is {}, declared delay {:.0} µs",
            amount(mean, channel.unit),
            amount(channel.scale, channel.unit),
            f64::from(channel.group_delay_ns) * 1e-3
        );
        let mut all = vec![Finding::new(format!("channel {name}"), Good, words, "")];
        if channel.kind == ChannelKind::Torque && channel.unit == Unit::NewtonMetre {
            let declared = rig.torque_sensor.zero_uncertainty_nm;
            let zero = if mean.abs() > 3.0 * declared.max(sd) {
                Attention
            } else {
                Good
            };
            let advice = "zero the sensor with nothing on it, and let it warm up; zeros before and after each run take it out of results";
            all.push(Finding::new(
                "torque zero",
                zero,
                format!("{mean:.4} N·m, its zero declared to ± {declared:.4} N·m"),
                advice,
            ));
            all.push(noise_of_torque(&noise, sd, rig));
            if let Some(white) = rest.whiteness {
                all.push(filter(white, channel));
            }
        }
        Some(all)
    };
    let all = checked.channels().iter().enumerate().filter_map(look);
    all.flatten().collect()
}

fn noise_of_torque(words: &str, sd: f64, rig: &Rig) -> Finding {
    let declared = rig.torque_sensor.noise_nm;
    let advice =
        "look for loose cables, a missing shield or earth, mains hum, or a sensor near its amplifier's limit";
    match declared {
        Some(declared) => {
            let verdict = if sd > 2.0 * declared {
                Bad
            } else if sd > 1.3 * declared {
                Attention
            } else {
                Good
            };
            let words = format!("{words}, declared {}", amount(declared, Unit::NewtonMetre));
            Finding::new("torque noise", verdict, words, advice)
        }
        None if sd <= 0.0 => {
            let advice =
                "a sensor without any noise is not connected, or its counts are too coarse: check both";
            Finding::new("torque noise", Bad, words, advice)
        }
        None => Finding::new(
            "torque noise",
            NotTried,
            format!("{words}; none declared to compare with"),
            "write this as rig.torque_sensor.noise once the rig is known to be well",
        ),
    }
}

/// White noise up to half the sample rate means that nothing in front of the converter stops what would fold down.
fn filter(white: f64, channel: &Channel) -> Finding {
    let delay_us = f64::from(channel.group_delay_ns) * 1e-3;
    let words = format!(
        "noise is {:.0} % as rough as white noise; declared delay {delay_us:.0} µs",
        100.0 * white
    );
    let advice = "fit an anti-alias filter at 0.4 of the sample rate or below, the same on every channel, and declare its delay";
    // Behind a second-order Butterworth filter at 0.4 of the sample rate white noise is 89 % as rough, at half of it 98 % (their
    // autocorrelation in closed form, in pieces of 8); a second of samples tells it to 2 %.
    let verdict = if white > 0.93 { Attention } else { Good };
    Finding::new("sensor filter", verdict, words, advice)
}

fn round_trips(checked: &Checked) -> Finding {
    let Some([least, median, greatest]) = checked.round_trips_us() else {
        let advice = "the rig answered no keep-alive: its clock is not known";
        return Finding::new("round trip", Bad, "none", advice);
    };
    let words = format!("{least:.0} µs least, {median:.0} µs median, {greatest:.0} µs greatest");
    // 30 ms without an echo stops an armed run.
    let verdict = if greatest > 15_000.0 {
        Bad
    } else if median > 4_000.0 || greatest > 8_000.0 {
        Attention
    } else {
        Good
    };
    let advice = "set the USB latency timer to 1 ms, connect without a hub, close other programs";
    Finding::new("round trip", verdict, words, advice)
}

fn host(checked: &Checked) -> Finding {
    scheduling(checked.granted, checked.outcome.counters.latest_wake_us)
}

fn scheduling(granted: Option<Granted>, late_us: u64) -> Finding {
    let Some(granted) = granted else {
        return Finding::new("host", Good, "simulated time: nothing is waited for", "");
    };
    let words = format!("{granted}; latest wake {late_us} µs");
    let verdict = if late_us > 10_000 {
        Bad
    } else if !granted.real_time || late_us > 3_000 {
        Attention
    } else {
        Good
    };
    let advice = "permit real-time scheduling and locked memory (limits.conf: rtprio 20, memlock unlimited), close other programs";
    Finding::new("host", verdict, words, advice)
}

/// What the run did not come to is not tried; what it failed at is bad.
fn proofs(checked: &Checked) -> Vec<Finding> {
    let (proofs, set) = (&checked.outcome.proofs, checked.configuration());
    let set_ms = set.map_or(0.0, |set| f64::from(set.watchdog_us) * 1e-3);
    let stop = |us| format!("confirmed {:.1} ms after it was sent", us as f64 * 1e-3);
    let watchdog = |us| {
        format!(
            "fired {:.1} ms after the last keep-alive, set to {set_ms:.1} ms",
            us as f64 * 1e-3
        )
    };
    let advice = [
        "do not arm this rig: its controller has to carry out Stop in every state and confirm it (rig link, chapter 7)",
        "do not arm this rig: its controller has to end torque by itself when keep-alives fail to come (rig link, chapter 7)",
    ];
    vec![
        proof(
            &checked.outcome.end,
            "stop",
            proofs.stop_round_trip_us.map(stop),
            advice[0],
        ),
        proof(
            &checked.outcome.end,
            "watchdog",
            proofs.watchdog_us.map(watchdog),
            advice[1],
        ),
    ]
}

fn proof(end: &End, name: &'static str, seen: Option<String>, advice: &str) -> Finding {
    let failed = matches!(end, End::Failed(Failure::ProofFailed { what, .. }) if *what == name);
    match seen {
        Some(words) => Finding::new(name, if failed { Bad } else { Good }, words, advice),
        None if failed => Finding::new(name, Bad, "did not come", advice),
        None => {
            let advice = "mend what ended the proofs first, and check again before anything is armed";
            Finding::new(name, NotTried, "the proofs ended before it", advice)
        }
    }
}

fn torque(extras: &Extras, rig: &Rig) -> Finding {
    let name = "sign and gain";
    let smallest = match &extras.torque {
        Some(Ok(smallest)) => smallest,
        Some(Err(why)) => {
            let advice = "nothing was pushed; mend this and check again with --torque";
            return Finding::new(name, NotTried, why.clone(), advice);
        }
        None if rig.mounting == Mounting::Clamped => {
            return Finding::new(name, NotTried, "not asked for", "add --torque");
        }
        None => {
            let words = format!("the rim would turn ({} mounting)", rig.mounting);
            return Finding::new(name, NotTried, words, "add --torque on a clamped rim");
        }
    };
    match (smallest.gain, &smallest.outcome.end) {
        (Some(gain), End::Completed) => {
            let verdict = if (gain - 1.0).abs() > 0.25 {
                Attention
            } else {
                Good
            };
            let words = format!(
                "right sign, {:.1} % of the smallest torque asked for",
                100.0 * gain
            );
            let advice = "friction hides a part of so small a torque; more than that is a wrong full scale, sensor scale or arm";
            Finding::new(name, verdict, words, advice)
        }
        (_, end) => {
            let advice = match end {
                End::Tripped(trip) if trip.condition == Condition::WrongSign => {
                    "motor and torque sensor count opposite ways: turn the sign of one of them, in its wiring, its scale or the rig \
                     controller; then check again"
                }
                End::Tripped(trip) if trip.condition == Condition::WrongGain => {
                    "check full scale, the sensor's scale, the coupling and the arm before anything larger"
                }
                _ => {
                    "check the direction of both, the coupling, full scale and the sensor's scale before anything larger"
                }
            };
            Finding::new(name, Bad, end.to_string(), advice)
        }
    }
}

fn emergency(extras: &Extras) -> Finding {
    let name = "emergency stop";
    let (verdict, words, advice) = match &extras.emergency {
        None => (
            NotTried,
            "nobody was asked to press it",
            "add --emergency-stop and press it when asked",
        ),
        Some(Err(why)) => {
            let advice = "mend this and check again with --emergency-stop";
            return Finding::new(name, NotTried, why.clone(), advice);
        }
        Some(Ok(Pressed::NoInput)) => (
            Attention,
            "the rig controller has no such input",
            "press it by hand before each shift and see that the supply goes off; only the wire counts",
        ),
        Some(Ok(Pressed::OpenAlready)) => (
            Bad,
            "open from the beginning",
            "release it, and check its wires for a break",
        ),
        Some(Ok(Pressed::NotSeen)) => (
            Bad,
            "pressed, and not seen",
            "check that the supply went off; then the wire from its second contact to the controller",
        ),
        Some(Ok(Pressed::Seen { closed_again: true })) => (Good, "seen to open, and to close again", ""),
        Some(Ok(Pressed::Seen { closed_again: false })) => (
            Attention,
            "seen to open; not to close again",
            "release it; if it is, check the contact",
        ),
    };
    Finding::new(name, verdict, words, advice)
}

#[cfg(test)]
mod tests {
    use super::{Attention, Bad, Good, Granted, LatencyTimer, Unit, amount, latency, scheduling};

    #[test]
    fn a_computer_that_wakes_late_or_grants_nothing_is_told() {
        let granted = |real_time| {
            Some(Granted {
                real_time,
                memory_locked: real_time,
            })
        };
        assert_eq!(scheduling(None, 0).verdict, Good);
        assert_eq!(scheduling(granted(true), 3_000).verdict, Good);
        for (real_time, late_us, verdict) in [
            (false, 100, Attention),
            (true, 3_001, Attention),
            (true, 10_001, Bad),
        ] {
            let found = scheduling(granted(real_time), late_us);
            assert_eq!(found.verdict, verdict, "{found:?}");
            assert!(found.advice.contains("rtprio") && found.found.contains(&late_us.to_string()));
        }
    }

    #[test]
    fn a_latency_timer_that_stays_long_is_told() {
        for timer in [
            LatencyTimer::None,
            LatencyTimer::Short(1),
            LatencyTimer::Set(16, 1),
        ] {
            assert_eq!(latency(&timer).verdict, Good);
        }
        let left = latency(&LatencyTimer::Left(16, "not permitted".to_owned()));
        assert_eq!(left.verdict, Attention);
        assert!(
            left.found.contains("16 ms") && left.advice.contains("udev"),
            "{left:?}"
        );
    }

    #[test]
    fn amounts_are_readable() {
        let nm = |si| amount(si, Unit::NewtonMetre);
        assert_eq!(
            [nm(1.25), nm(2.6e-3), nm(-5e-7), nm(0.0)],
            ["1.25 N·m", "2.60 mN·m", "-0.50 µN·m", "0.00 N·m"]
        );
        assert_eq!(amount(0.05, Unit::Celsius), "0.05 °C");
    }
}
