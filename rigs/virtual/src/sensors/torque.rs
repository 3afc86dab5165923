//! The torque sensor with its amplifier and converter.
//!
//! `counts = round(clip((1 + e)·F{T + n} + z, ±range)/scale)`, F the Butterworth filter of [`super::filter`], n white
//! noise, e the gain error, z the zero, `scale = range/counts_at_range`. At ±range the channel is saturated.
//!
//! The zero wanders with time and with temperature, `z = z_0 + d·t + c·s·(ϑ_case − ϑ_ambient)`: the sensor warms by the
//! share s of what the wheelbase's case does. That a sensor of 50 N·m moves by 10 mN·m a kelvin is ordinary, and more
//! than the friction of a good unit after a few kelvins.

use rand_chacha::ChaCha8Rng;

use super::filter::{LowPass, NOISE_BANDWIDTH, group_delay_s};
use crate::random::normal;

/// The torque sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TorqueSensorParameters {
    /// Range either way, N·m; above 0.
    pub range_nm: f64,
    /// Counts at the end of the range; 1 or more.
    pub counts_at_range: i32,
    /// True over declared sensitivity, less one, 1.
    pub gain_error: f64,
    /// Reading at zero torque, N·m.
    pub zero_nm: f64,
    /// Standard deviation of the noise after the filter, N·m; 0 or more.
    pub noise_nm: f64,
    /// Drift d of the zero, N·m an hour.
    pub drift_nm_per_h: f64,
    /// Drift c of the zero with the sensor's temperature, N·m/K.
    pub zero_nm_per_k: f64,
    /// Share s of the case's warming that reaches the sensor, 1.
    pub case_share: f64,
    /// Corner of the amplifier, Hz; above 0.
    pub amplifier_hz: f64,
    /// Group delay that the rig declares, s.
    pub declared_delay_s: f64,
    /// Torque of a weight on a lever arm at the sensor, N·m: what hangs there while a wheelbase that is idle or taken off
    /// adds nothing.
    pub load_nm: f64,
}

impl TorqueSensorParameters {
    /// Torque of one count, N·m.
    pub fn scale_nm(&self) -> f64 {
        self.range_nm / f64::from(self.counts_at_range)
    }

    /// The amplifier's real group delay at low frequency, s.
    pub fn group_delay_s(&self) -> f64 {
        group_delay_s(self.amplifier_hz)
    }
}

/// The sensor with its filter and noise.
#[derive(Debug, Clone)]
pub struct TorqueSensor {
    parameters: TorqueSensorParameters,
    filter: LowPass,
    noise_step_nm: f64,
    drift_nm: f64,
    random: ChaCha8Rng,
    /// What the converter gives whatever the torque is (a fault).
    stuck: Option<i32>,
}

impl TorqueSensor {
    /// A sensor that has seen zero torque for long.
    pub fn new(parameters: TorqueSensorParameters, step_s: f64, random: ChaCha8Rng) -> Self {
        // White noise of one-sided density S drawn once a step has variance S/(2·step); the filter leaves S·1.11·f_c.
        let density = parameters.noise_nm * parameters.noise_nm / (NOISE_BANDWIDTH * parameters.amplifier_hz);
        Self {
            filter: LowPass::new(parameters.amplifier_hz, step_s),
            noise_step_nm: (density / (2.0 * step_s)).sqrt(),
            drift_nm: 0.0,
            parameters,
            random,
            stuck: None,
        }
    }

    /// The torque at the end of a step.
    pub fn step(&mut self, torque_nm: f64) {
        let noise = if self.noise_step_nm > 0.0 {
            self.noise_step_nm * normal(&mut self.random)
        } else {
            0.0
        };
        self.filter.step(torque_nm + self.parameters.load_nm + noise);
    }

    /// How the zero has wandered after `time_s` with the case `case_rise_k` above ambient; counts from now on have it.
    pub fn drift(&mut self, time_s: f64, case_rise_k: f64) {
        let p = &self.parameters;
        self.drift_nm = p.drift_nm_per_h * time_s / 3600.0 + p.zero_nm_per_k * p.case_share * case_rise_k;
    }

    /// Adds to what the zero has wandered (a fault).
    pub fn wander(&mut self, torque_nm: f64) {
        self.drift_nm += torque_nm;
    }

    /// Converts what the amplifier gives now.
    pub fn counts(&self) -> i32 {
        self.stuck.unwrap_or_else(|| {
            let p = &self.parameters;
            let reading = (1.0 + p.gain_error) * self.filter.output() + p.zero_nm + self.drift_nm;
            (reading.clamp(-p.range_nm, p.range_nm) / p.scale_nm()).round() as i32
        })
    }

    /// From now on the converter gives the end of its range on the side of `sign` (a fault).
    pub fn saturate(&mut self, sign: f64) {
        let end = self.parameters.counts_at_range;
        self.stuck = Some(if sign < 0.0 { -end } else { end });
    }

    /// From now on the converter gives what it gives at zero torque (a fault: the bridge is disconnected).
    pub fn drop_out(&mut self) {
        self.stuck = Some((self.parameters.zero_nm / self.parameters.scale_nm()).round() as i32);
    }

    /// From now on the converter repeats what it gives now (a fault).
    pub fn stick(&mut self) {
        self.stuck = Some(self.counts());
    }
}
