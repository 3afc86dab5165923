//! Delays, and what the torque can do.

use super::Rows;
use super::linear::cold_flux;
use crate::RigParameters;

pub(super) fn rows(parameters: &RigParameters, rows: &mut Rows) {
    let firmware = &parameters.plant.firmware;
    let (period, dead, jitter) = (firmware.period_s, firmware.dead_time_s, firmware.jitter_s);
    rows.add(
        "dead_time",
        "Dead time",
        dead,
        "s",
        "firmware.dead_time: from a read to the change of the demand",
    );
    rows.add(
        "latency_mean",
        "Latency, mean",
        dead + 0.5 * period + 0.5 * jitter,
        "s",
        "dead_time + period/2 + jitter/2: a setpoint waits for the next read",
    );
    rows.add(
        "latency_sd",
        "Latency, spread",
        ((period * period + jitter * jitter) / 12.0).sqrt(),
        "s",
        "sqrt(period² + jitter²)/sqrt(12): both are uniform",
    );
    rows.add("update_period", "Update period", period, "s", "firmware.period");
    if firmware.smoothing_s > 0.0 {
        rows.add(
            "smoothing",
            "Smoothing of setpoints",
            firmware.smoothing_s,
            "s",
            "firmware.smoothing: time constant of a first-order lag",
        );
    }
    let torque = &parameters.plant.torque;
    rows.add(
        "gain",
        "Static gain",
        torque.gain * cold_flux(&parameters.plant),
        "1",
        "torque.gain · (1 − flux_loss · (ambient − 20 °C)); branches differ by friction, orders in proportion to torque add",
    );
    rows.add("offset", "Offset", torque.offset_nm, "N.m", "torque.offset");
    rows.add(
        "peak_torque",
        "Peak torque",
        torque.peak_nm * cold_flux(&parameters.plant),
        "N.m",
        "torque.peak · flux, at the motor's side of the friction",
    );
    rows.add("slew", "Slew rate", torque.slew_nm_per_s, "N.m/s", "torque.slew");
    rows.add(
        "current_loop",
        "Current loop, −3 dB",
        torque.loop_hz,
        "Hz",
        "torque.loop_bandwidth",
    );
    let sensor = &parameters.sensors.torque;
    rows.add(
        "sensor_delay",
        "Sensor's group delay",
        sensor.group_delay_s(),
        "s",
        "sqrt(2)/(2 pi · sensors.torque.amplifier)",
    );
    rows.add(
        "sensor_delay_error",
        "Declared less true sensor delay",
        sensor.declared_delay_s - sensor.group_delay_s(),
        "s",
        "sensors.torque.declared_delay",
    );
    rows.add(
        "sensor_gain_error",
        "Sensor's gain error",
        sensor.gain_error,
        "1",
        "sensors.torque.gain_error",
    );
    rows.add(
        "sensor_zero",
        "Sensor's zero, cold",
        sensor.zero_nm,
        "N.m",
        "sensors.torque.zero",
    );
    rows.add(
        "sensor_noise",
        "Sensor's noise (rms)",
        sensor.noise_nm,
        "N.m",
        "sensors.torque.noise, behind its amplifier",
    );
}
