//! Fitting of recordings whose torque is a closed form.

use std::path::Path;

use super::cut::cut;
use super::{FitDocument, FitOptions, Quantity, fit_recording};
use crate::recording::{
    Block, ChannelInfo, Completion, CountWidth, Header, Recording, RecordingWriter, RigInfo, SegmentRow,
    Sensor,
};

/// Ticks between samples.
const PERIOD: u64 = 250;
/// Delay from setpoint to torque, ticks of 1 µs.
const DELAY: u64 = 4_000;
/// Time constant of the rise, s. From 10 to 90 % it takes ln 9 of it.
const TAU_S: f64 = 0.001_5;
/// Torque reached per torque commanded.
const GAIN: f64 = 0.95;
const SETPOINT_SCALE: f64 = 8.0 / 32767.0;
const TORQUE_SCALE: f64 = 1e-4;

/// A recording in the making: changes of the setpoint and chirps on a time line in ticks.
struct Synthetic {
    /// Tick and new level, N·m.
    levels: Vec<(u64, f64)>,
    /// Start, end, amplitude and preload of each chirp.
    chirps: Vec<(u64, u64, f64, f64)>,
    rows: Vec<SegmentRow>,
    now: u64,
    /// Samples from here to there are lost.
    lost: Option<(u64, u64)>,
    /// The rig plays no more than this, N·m.
    most_nm: f64,
    /// Rows are kept up to this tick.
    until: u64,
    completion: Completion,
}

/// Chirp from 0.5 to 300 Hz over `length` seconds, logarithmic; taper of 50 ms.
fn chirp_nm(t: f64, length: f64) -> f64 {
    let (from, to) = (0.5_f64, 300.0_f64);
    let rate = (to / from).ln() / length;
    let taper = (t / 0.05).min((length - t) / 0.05).clamp(0.0, 1.0);
    taper * (std::f64::consts::TAU * from * ((rate * t).exp() - 1.0) / rate).sin()
}

impl Synthetic {
    fn new() -> Self {
        Self {
            levels: vec![(0, 0.0)],
            chirps: Vec::new(),
            rows: Vec::new(),
            now: 600_000,
            lost: None,
            most_nm: f64::INFINITY,
            until: u64::MAX,
            completion: Completion::Complete,
        }
    }

    fn row(&self, excitation: &str, repeat: u32, (from, to): (f64, f64), length: u64) -> SegmentRow {
        SegmentRow {
            name: format!("{excitation}s"),
            excitation: excitation.into(),
            role: "excitation".into(),
            segment: 1,
            repeat,
            start_tick: self.now,
            end_tick: self.now + length,
            from_nm: from,
            to_nm: to,
            amplitude_nm: (to - from).abs(),
            preload_nm: from,
            f_start_hz: f64::NAN,
            f_end_hz: f64::NAN,
            duration_s: length as f64 * 1e-6,
            hold_us: 250,
        }
    }

    /// Repeats of one step, each `150 ms` long; starts do not fall on the samples' grid.
    fn steps(mut self, from: f64, to: f64, repeats: u32) -> Self {
        for repeat in 0..repeats {
            self.levels.push((self.now, from));
            self.now += 100_000 + u64::from(repeat * 377 % 1000);
            self.rows.push(self.row("step", repeat, (from, to), 150_000));
            self.levels.push((self.now, to));
            self.now += 150_000;
            self.levels.push((self.now, 0.0));
            self.now += 100_000;
        }
        self
    }

    fn chirps(mut self, amplitude: f64, preload: f64, repeats: u32) -> Self {
        for repeat in 0..repeats {
            self.levels.push((self.now, preload));
            self.now += 300_000 + u64::from(repeat * 613 % 1000);
            let length = 6_000_000;
            let row = SegmentRow {
                amplitude_nm: amplitude,
                f_start_hz: 0.5,
                f_end_hz: 300.0,
                ..self.row("chirp", repeat, (preload, preload), length)
            };
            self.rows.push(row);
            self.chirps
                .push((self.now, self.now + length, amplitude, preload));
            self.now += length + 60_000;
            self.levels.push((self.now, 0.0));
            self.now += 100_000;
        }
        self
    }

    /// Setpoint in force at a tick, N·m: a chirp is a staircase of 250 ticks.
    fn setpoint_nm(&self, tick: u64) -> f64 {
        let chirp = self.chirps.iter().find(|c| (c.0..c.1).contains(&tick));
        let planned = match chirp {
            Some((start, end, amplitude, preload)) => {
                let held = (tick - start) / 250 * 250;
                preload + amplitude * chirp_nm(held as f64 * 1e-6, (end - start) as f64 * 1e-6)
            }
            None => self
                .levels
                .iter()
                .rev()
                .find(|l| l.0 <= tick)
                .map_or(0.0, |l| l.1),
        };
        planned.clamp(-self.most_nm, self.most_nm)
    }

    /// Torque at a tick, N·m: chirps come late and weaker, steps rise like `1 - exp(-t/τ)` as well.
    fn torque_nm(&self, tick: u64) -> f64 {
        let late = tick.saturating_sub(DELAY);
        if self.chirps.iter().any(|c| (c.0..c.1).contains(&late)) {
            return GAIN * self.setpoint_nm(late);
        }
        let mut sum = 0.0;
        let mut before = 0.0;
        for (at, level) in self.levels.iter().take_while(|l| l.0 <= late) {
            let level = level.clamp(-self.most_nm, self.most_nm);
            sum += (level - before) * (1.0 - (-((late - at) as f64 * 1e-6) / TAU_S).exp());
            before = level;
        }
        GAIN * sum
    }

    fn write(self, path: &Path) -> Recording {
        let mut writer = RecordingWriter::create(path, &header()).unwrap();
        let end = (self.now + 600_000).min(self.until);
        let mut noise = 1_u32;
        let mut block = Block {
            first_tick: 0,
            rows: 0,
            columns: vec![Vec::new(); 3],
        };
        let mut tick = 100;
        while tick < end {
            let lost = self.lost.is_some_and(|(from, to)| (from..to).contains(&tick));
            if lost || block.rows == 1000 {
                writer.append(&block).unwrap();
                block = Block {
                    first_tick: tick,
                    rows: 0,
                    columns: vec![Vec::new(); 3],
                };
            }
            if !lost {
                // Uniform over ±12 counts of 0.1 mN·m; a linear congruential generator with constants of Knuth's.
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let stray = i32::try_from(noise >> 16).unwrap() % 25 - 12;
                block.first_tick = if block.rows == 0 { tick } else { block.first_tick };
                block.rows += 1;
                block.columns[0].push((self.setpoint_nm(tick) / SETPOINT_SCALE).round() as i32);
                block.columns[1].push((self.torque_nm(tick) / TORQUE_SCALE).round() as i32 + stray);
                block.columns[2].push(3_000 + i32::try_from(tick / 100_000).unwrap());
            }
            tick += PERIOD;
        }
        writer.append(&block).unwrap();
        for row in self.rows.iter().filter(|r| r.start_tick < self.until) {
            writer.segment(row).unwrap();
        }
        writer.finish(&self.completion).unwrap();
        Recording::open(path).unwrap()
    }
}

fn channel(name: &str, units: &str, width: CountWidth, scale: f64, most: i32) -> ChannelInfo {
    ChannelInfo {
        name: name.into(),
        long_name: name.into(),
        units: units.into(),
        width,
        scale,
        offset: 0.0,
        group_delay_s: 0.0,
        raw_min: -most,
        raw_max: most,
    }
}

fn header() -> Header {
    Header {
        run_id: "R-0001".into(),
        created: "2026-03-14T10:20:30Z".into(),
        mounting: "clamped".into(),
        rig: RigInfo {
            kind: "virtual".into(),
            full_scale_nm: 8.0,
            fixture_stiffness_nm_per_rad: 20_000.0,
            update_period_s: f64::NAN,
            ..RigInfo::default()
        },
        sensor: Sensor {
            range_nm: 20.0,
            stiffness_nm_per_rad: 4_000.0,
            calibrated: "2026-03-02".into(),
            due: "2028-03-02".into(),
            gain_uncertainty: 0.001,
            zero_uncertainty_nm: 0.005,
            delay_uncertainty_s: 1e-5,
            ..Sensor::default()
        },
        sample_period_ticks: 250,
        tick_s: 1e-6,
        channels: vec![
            channel("setpoint", "N.m", CountWidth::I16, SETPOINT_SCALE, 32_767),
            channel("torque", "N.m", CountWidth::I32, TORQUE_SCALE, 200_000),
            channel("motor_temperature", "degC", CountWidth::I16, 0.01, 32_767),
        ],
        ..Header::default()
    }
}

fn fitted(synthetic: Synthetic) -> FitDocument {
    let dir = tempfile::tempdir().unwrap();
    let recording = synthetic.write(&dir.path().join("run.h5"));
    fit_recording(&recording, &FitOptions::default()).unwrap()
}

fn check(document: &FitDocument, name: &str) -> bool {
    document.quality.iter().find(|c| c.name == name).unwrap().passed
}

fn code(document: &FitDocument, quantity: Quantity) -> String {
    document
        .headline(quantity)
        .unwrap()
        .result
        .refused()
        .unwrap()
        .code
        .clone()
}

#[test]
fn a_cut_has_its_zero_where_the_setpoint_came_into_force() {
    let dir = tempfile::tempdir().unwrap();
    let recording = Synthetic::new()
        .steps(0.0, 2.0, 4)
        .chirps(1.0, 1.5, 1)
        .write(&dir.path().join("run.h5"));
    let cuts = cut(&recording).unwrap();
    assert_eq!((cuts.steps.len(), cuts.chirps.len()), (4, 1));
    for (k, step) in cuts.steps.iter().enumerate() {
        // Starts at 700,000 + 350,000 k plus dithers 0, 377, 754, 131 and those of the repeats before; samples at 100 + 250 j.
        let start = [700_000_u64, 1_050_377, 1_401_131, 1_751_262][k];
        assert_eq!(step.row.start_tick, start);
        let first = step.t_s[0];
        assert!((-0.030..-0.02975).contains(&first), "{first}");
        assert!((step.t_s[step.t_s.len() - 1] - 0.150).abs() < 2.5e-4);
        for (t, nm) in step.t_s.iter().zip(&step.setpoint_nm) {
            assert!(
                (nm - if *t >= 0.0 { 2.0 } else { 0.0 }).abs() < SETPOINT_SCALE,
                "{t}"
            );
        }
        // A delay of 4 ms and a time constant of 1.5 ms: 63 % of 0.95 · 2 N·m at 5.5 ms.
        let late = step.t_s.iter().position(|t| *t >= 0.0055).unwrap();
        let due = 1.9 * (1.0 - (-(step.t_s[late] - 0.004) / TAU_S).exp());
        assert!((step.torque_nm[late] - due).abs() < 0.002);
        assert!(step.as_planned());
    }
    let chirp = &cuts.chirps[0];
    // Start at 2,202,... : its age when first sampled is (100 − start) modulo 250.
    let start = i64::try_from(chirp.row.start_tick).unwrap();
    assert!((chirp.input_age_s - ((100 - start).rem_euclid(250)) as f64 * 1e-6).abs() < 1e-12);
    // Rest at the preload on both sides: 300 ms before, 60 ms behind.
    assert!((chirp.t_s[0] + 0.3).abs() < 3e-4);
    assert!((chirp.t_s[chirp.t_s.len() - 1] - 6.06).abs() < 5e-4);
}

#[test]
fn what_was_put_in_comes_out() {
    let d = fitted(
        Synthetic::new()
            .steps(0.0, 2.0, 8)
            .steps(1.0, 2.0, 8)
            .steps(-1.0, -2.0, 8),
    );
    let groups: Vec<&str> = d
        .measurands
        .iter()
        .filter(|m| m.quantity == Quantity::Latency)
        .map(|m| m.group.as_str())
        .collect();
    assert_eq!(groups, ["1 to 2 N·m", "−1 to −2 N·m", "0 to 2 N·m"]);
    let within = |quantity, truth: f64, most: f64| {
        let e = d
            .headline(quantity)
            .unwrap()
            .estimate()
            .unwrap_or_else(|| panic!("{quantity:?} is refused"));
        assert!(
            (e.value - truth).abs() <= most,
            "{quantity:?}: {} for {truth}",
            e.value
        );
    };
    within(Quantity::TransitionDuration, 9.0_f64.ln() * TAU_S, 60e-6);
    within(Quantity::SteadyGain, GAIN, 0.002);
    // exp(-t/τ) = 0.02: 4 ms + 3.912 · 1.5 ms.
    within(Quantity::SettlingTime, 0.004 + 50.0_f64.ln() * TAU_S, 0.4e-3);
    within(Quantity::Overshoot, 0.0, 0.006);
    within(Quantity::SensorDelay, 0.0, 1e-12);
    within(Quantity::Latency, 0.004, 0.1e-3);
    let m = d.headline(Quantity::Latency).unwrap();
    assert_eq!(m.conditions.n, 8);
    assert_eq!(
        (m.conditions.amplitude_nm, m.conditions.preload_nm),
        (Some(1.0), Some(1.0))
    );
    // 1/(1/4000 + 1/20000).
    assert!((m.conditions.rig_spring_nm_per_rad.unwrap() - 10_000.0 / 3.0).abs() < 1e-9);
    // The group was played from about 4 to 7 s at 30 °C + 0.1 °C/s.
    let t = m.conditions.temperature.clone().unwrap();
    assert!(t.min_degc > 30.3 && t.max_degc < 30.7, "{t:?}");
    let curves = d.curves.steps.unwrap();
    let at = |t: f64| curves.t_s.iter().position(|s| *s >= t).unwrap();
    assert!((curves.median_nm[at(-0.001)] - 0.95).abs() < 0.002);
    assert!((curves.median_nm[at(0.0055)] - (0.95 + 0.95 * 0.632)).abs() < 0.08);
    assert_eq!(curves.repeats_nm.len(), 8);
    assert!(d.quality.iter().all(|c| c.passed), "{:?}", d.quality);
}

#[test]
fn a_recording_without_chirps_or_steps_gives_refusals() {
    let d = fitted(Synthetic::new().steps(0.0, 2.0, 6));
    for quantity in [
        Quantity::Bandwidth,
        Quantity::FlatBand,
        Quantity::PhaseDelay,
        Quantity::Resonance,
    ] {
        assert_eq!(code(&d, quantity), "no_chirp");
    }
    assert_eq!(code(&d, Quantity::DelayAgreement), "delay_missing");
    let empty = fitted(Synthetic::new());
    assert_eq!(code(&empty, Quantity::Latency), "no_steps");
    assert!(empty.curves.steps.is_none() && empty.curves.frequency.is_none());
    let text = serde_json::to_string(&empty).unwrap();
    assert!(serde_json::from_str::<FitDocument>(&text).unwrap() == empty);
}

#[test]
fn chirps_through_gain_and_delay_give_that_gain_and_delay() {
    let d = fitted(Synthetic::new().chirps(1.0, 1.5, 3));
    let curve = d.curves.frequency.as_ref().expect("a frequency response");
    for (f, db) in curve
        .f_hz
        .iter()
        .zip(&curve.gain_db)
        .filter(|(f, _)| (1.0..200.0).contains(*f))
    {
        assert!((db - 20.0 * GAIN.log10()).abs() < 0.2, "{db} dB at {f} Hz");
    }
    for (f, phase) in curve
        .f_hz
        .iter()
        .zip(&curve.phase_deg)
        .filter(|(f, _)| (1.0..200.0).contains(*f))
    {
        assert!(
            (phase + 360.0 * f * 0.004).abs() < 2.0 + 0.02 * f,
            "{phase}° at {f} Hz"
        );
    }
    assert_eq!(code(&d, Quantity::Latency), "no_steps");
}

#[test]
fn a_gap_leaves_its_repeat_out_and_no_other() {
    let lost = Synthetic {
        lost: Some((1_080_000, 1_085_000)),
        ..Synthetic::new().steps(0.0, 2.0, 6)
    };
    let d = fitted(lost);
    let m = d.headline(Quantity::TransitionDuration).unwrap();
    assert_eq!(m.estimate().unwrap().n, 5);
    assert!(!check(&d, "lost samples") && !check(&d, "whole repeats") && check(&d, "completion"));
    let detail = &d
        .quality
        .iter()
        .find(|c| c.name == "lost samples")
        .unwrap()
        .detail;
    assert!(detail.starts_with("20 samples"), "{detail}");
}

#[test]
fn a_clipped_setpoint_refuses_what_it_touches() {
    let d = fitted(Synthetic {
        most_nm: 1.5,
        ..Synthetic::new().steps(0.0, 2.0, 6).steps(0.0, 1.0, 6)
    });
    assert!(!check(&d, "clipped setpoint"));
    // The group that was played as planned stands for the quantity.
    assert_eq!(d.headline(Quantity::SteadyGain).unwrap().group, "0 to 1 N·m");
    let other = d
        .measurands
        .iter()
        .find(|m| m.id == "steady_gain@0 to 2 N·m")
        .unwrap();
    assert_eq!(other.result.refused().unwrap().code, "clipped_setpoint");
}

#[test]
fn a_tripped_run_gives_what_it_can_and_says_so() {
    let cause = "rim speed 6.1 rad/s, limit 5 rad/s".to_owned();
    let d = fitted(Synthetic {
        until: 2_500_000,
        completion: Completion::Tripped { cause },
        ..Synthetic::new().steps(0.0, 2.0, 12)
    });
    // Steps begin every 350 ms from 700 ms on: five end before 2.5 s, the sixth is cut short.
    assert_eq!(
        d.headline(Quantity::TransitionDuration)
            .unwrap()
            .estimate()
            .unwrap()
            .n,
        5
    );
    assert!(!check(&d, "completion") && !d.is_sound());
    assert!(d.recording.completion.cause.contains("6.1 rad/s"));
}

#[test]
fn the_same_recording_gives_the_same_document() {
    let dir = tempfile::tempdir().unwrap();
    let recording = Synthetic::new()
        .steps(1.0, 2.0, 6)
        .write(&dir.path().join("run.h5"));
    let fit = || serde_json::to_string(&fit_recording(&recording, &FitOptions::default()).unwrap()).unwrap();
    assert_eq!(fit(), fit());
}
