//! Recordings whose torque is a closed form of the setpoint.

use std::path::Path;

use crate::recording::{
    Block, ChannelInfo, Completion, CountWidth, Header, Recording, RecordingWriter, RigInfo, SegmentRow,
    Sensor,
};

/// Ticks between samples.
pub(super) const PERIOD: u64 = 250;
/// Delay from setpoint to torque, ticks of 1 µs.
pub(super) const DELAY: u64 = 4_000;
/// Time constant of the rise, s. From 10 to 90 % it takes ln 9 of it.
pub(super) const TAU_S: f64 = 0.001_5;
/// Torque reached per torque commanded.
pub(super) const GAIN: f64 = 0.95;
pub(super) const SETPOINT_SCALE: f64 = 8.0 / 32767.0;
pub(super) const TORQUE_SCALE: f64 = 1e-4;

/// A recording in the making: changes of the setpoint and chirps on a time line in ticks.
pub(super) struct Synthetic {
    /// Tick and new level, N·m.
    pub(super) levels: Vec<(u64, f64)>,
    /// Start, end, amplitude and preload of each chirp.
    pub(super) chirps: Vec<(u64, u64, f64, f64)>,
    /// Start, end and signal of each realisation of what is played in whole periods.
    pub(super) periodic: Vec<(u64, u64, Periodic)>,
    pub(super) rows: Vec<SegmentRow>,
    pub(super) now: u64,
    /// Samples from here to there are lost.
    pub(super) lost: Option<(u64, u64)>,
    /// The rig plays no more than this, N·m.
    pub(super) most_nm: f64,
    /// And of signals of whole periods no more than that about their preload, from this tick on.
    pub(super) clipped_from: u64,
    /// And no less than this about it, N·m.
    pub(super) least_nm: f64,
    /// Lines of the multisines, where the recording is to list them.
    pub(super) lines: Option<Vec<u32>>,
    /// Rows are kept up to this tick.
    pub(super) until: u64,
    pub(super) completion: Completion,
}

/// Length of a period, s; its lines are multiples of 1 Hz.
const PERIOD_S: f64 = 1.0;
/// Share of the torque's square, per N·m, that is added to a multisine, and of its cube, per N²·m².
pub(super) const SQUARE: f64 = 0.02;
pub(super) const CUBE: f64 = 0.03;

/// A signal of whole periods about a preload of 1 N·m.
#[derive(Clone)]
pub(super) enum Periodic {
    /// Lines and their phases; amplitude of each, N·m.
    Multisine(Vec<(u32, f64)>, f64),
    /// A maximum-length sequence of 1,000 ms of bits of 1 ms, by its signs.
    Binary(Vec<f64>),
}

impl Periodic {
    /// At `t` s after the start of a period, held for 250 µs.
    pub(super) fn nm(&self, ticks: u64) -> f64 {
        let held = (ticks / 250 * 250) as f64 * 1e-6;
        match self {
            Self::Multisine(lines, each) => {
                let sum = lines
                    .iter()
                    .map(|(k, p)| (std::f64::consts::TAU * f64::from(*k) * held + p).cos());
                each * sum.sum::<f64>()
            }
            Self::Binary(signs) => 0.4 * signs[(ticks / 1_000) as usize % signs.len()],
        }
    }
}

/// Chirp from 0.5 to 300 Hz over `length` seconds, logarithmic; taper of 50 ms.
pub(super) fn chirp_nm(t: f64, length: f64) -> f64 {
    let (from, to) = (0.5_f64, 300.0_f64);
    let rate = (to / from).ln() / length;
    let taper = (t / 0.05).min((length - t) / 0.05).clamp(0.0, 1.0);
    taper * (std::f64::consts::TAU * from * ((rate * t).exp() - 1.0) / rate).sin()
}

impl Synthetic {
    pub(super) fn new() -> Self {
        Self {
            levels: vec![(0, 0.0)],
            chirps: Vec::new(),
            periodic: Vec::new(),
            rows: Vec::new(),
            now: 600_000,
            lost: None,
            most_nm: f64::INFINITY,
            clipped_from: 0,
            least_nm: f64::NEG_INFINITY,
            lines: None,
            until: u64::MAX,
            completion: Completion::Complete,
        }
    }

    pub(super) fn row(
        &self,
        excitation: &str,
        repeat: u32,
        (from, to): (f64, f64),
        length: u64,
    ) -> SegmentRow {
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
    pub(super) fn steps(mut self, from: f64, to: f64, repeats: u32) -> Self {
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

    pub(super) fn chirps(mut self, amplitude: f64, preload: f64, repeats: u32) -> Self {
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

    /// Realisations of three periods each on 1 N·m, the first in which the rig settles.
    pub(super) fn periods(mut self, signals: &[Periodic], named: (&str, u32)) -> Self {
        for (repeat, signal) in signals.iter().enumerate() {
            self.levels.push((self.now, 1.0));
            self.now += 300_000 + repeat as u64 * 613 % 1000;
            let length = match signal {
                Periodic::Multisine(..) => (PERIOD_S * 1e6) as u64,
                Periodic::Binary(signs) => signs.len() as u64 * 1_000,
            };
            let crest = (0..length / 250)
                .map(|i| signal.nm(250 * i).abs())
                .fold(0.0, f64::max);
            let start = self.now;
            for part in 0..3 {
                let row = SegmentRow {
                    role: if part == 0 { "transient" } else { "excitation" }.into(),
                    segment: named.1,
                    amplitude_nm: crest,
                    ..self.row(named.0, repeat as u32, (1.0, 1.0), length)
                };
                self.rows.push(row);
                self.now += length;
            }
            self.periodic.push((start, self.now, signal.clone()));
            self.levels.push((self.now, 0.0));
            self.now += 100_000;
        }
        self
    }

    /// Setpoint in force at a tick, N·m: a chirp is a staircase of 250 ticks.
    pub(super) fn setpoint_nm(&self, tick: u64) -> f64 {
        let chirp = self.chirps.iter().find(|c| (c.0..c.1).contains(&tick));
        let of_period = self.periodic.iter().find(|p| (p.0..p.1).contains(&tick));
        if let Some((start, _, signal)) = of_period {
            let nm = signal.nm(tick - start);
            let most = if tick > self.clipped_from {
                self.most_nm
            } else {
                f64::INFINITY
            };
            return 1.0 + nm.clamp((-most).max(self.least_nm), most);
        }
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
    pub(super) fn torque_nm(&self, tick: u64) -> f64 {
        let late = tick.saturating_sub(DELAY);
        if self.chirps.iter().any(|c| (c.0..c.1).contains(&late)) {
            return GAIN * self.setpoint_nm(late);
        }
        if self.periodic.iter().any(|p| (p.0..p.1).contains(&late)) {
            let x = self.setpoint_nm(late) - 1.0;
            return GAIN * (1.0 + x) + SQUARE * x * x + CUBE * x * x * x;
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

    pub(super) fn write(self, path: &Path) -> Recording {
        let mut header = header();
        if let Some(lines) = &self.lines {
            let lines: Vec<String> = lines.iter().map(u32::to_string).collect();
            header.extra.push(("segment_2_lines".into(), lines.join(" ")));
        }
        let mut writer = RecordingWriter::create(path, &header).unwrap();
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

pub(super) fn channel(name: &str, units: &str, width: CountWidth, scale: f64, most: i32) -> ChannelInfo {
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

pub(super) fn header() -> Header {
    Header {
        run_id: "R-0001".into(),
        created: "2026-03-14T10:20:30Z".into(),
        mounting: "clamped".into(),
        rig: RigInfo {
            kind: "virtual".into(),
            full_scale_nm: 8.0,
            fixture_stiffness_nm_per_rad: 20_000.0,
            update_period_s: f64::NAN,
            slew_nm_per_s: f64::NAN,
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
