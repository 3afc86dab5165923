//! `[virtual.controller]`: what the rig controller is and can do.

use settings_file::{Section, Speed, Temperature, Time, Torque, Voltage};

/// Properties of the rig controller.
#[derive(Debug, Clone, PartialEq)]
pub struct ControllerParameters {
    /// Model, up to 24 bytes.
    pub model: String,
    /// Serial number, up to 16 bytes.
    pub serial: String,
    /// Firmware version, up to 16 bytes.
    pub firmware: String,
    /// Torque of the largest setpoint, N·m; above 0.
    pub full_scale_nm: f64,
    /// Time between two looks at the sensors, limits and deadlines, µs; at most 1,000.
    pub period_us: u32,
    /// Shortest sample period, µs; a multiple of the control period or the step.
    pub min_sample_period_us: u32,
    /// Rows in a batch of samples.
    pub batch_rows: u8,
    /// Places in the setpoint queue.
    pub queue_capacity: u16,
    /// Whether the windings can be shorted to brake.
    pub brake: bool,
    /// Whether there is an emergency-stop input.
    pub emergency_stop_input: bool,
    /// Supply voltages at which the controller works, V: below the first or above the second it trips.
    pub supply_span_v: [f64; 2],
    /// Sensor torque that the controller allows whatever it is asked, N·m.
    pub own_sensor_torque_nm: f64,
    /// Rim speed that the controller allows whatever it is asked, rad/s.
    pub own_rim_speed_rad_s: f64,
    /// Temperature that the controller allows whatever it is asked, °C.
    pub own_temperature_degc: f64,
    /// Whether it says of itself that the far side of the link is simulated.
    pub simulated: bool,
    /// Grid on which the controller is stepped, µs: sample periods are multiples of it.
    pub step_us: u32,
}

pub(super) fn read(table: &Section<'_>) -> ControllerParameters {
    let micros = |key: &str, low: f64, high: f64| {
        let value = table.quantity::<Time>(key, low..=high) * 1e6;
        if (value - value.round()).abs() > 1e-6 {
            table.report(key, "not a whole number of microseconds", None, "round it");
        }
        value.round() as u32
    };
    ControllerParameters {
        model: table.text("model"),
        serial: table.text("serial"),
        firmware: table.text("firmware"),
        full_scale_nm: table.quantity::<Torque>("full_scale", 0.1..=100.0),
        period_us: micros("period", 50e-6, 1e-3),
        min_sample_period_us: micros("min_sample_period", 50e-6, 10e-3),
        batch_rows: table.integer("batch", 1..=20) as u8,
        queue_capacity: table.integer("queue", 8..=4096) as u16,
        brake: table.boolean("brake"),
        emergency_stop_input: table.boolean("emergency_stop_input"),
        supply_span_v: table.pair::<Voltage>("supply_span", 0.0..=200.0),
        own_sensor_torque_nm: table.quantity::<Torque>("own_sensor_torque", 0.1..=1000.0),
        own_rim_speed_rad_s: table.quantity::<Speed>("own_rim_speed", 0.1..=1000.0),
        own_temperature_degc: table.quantity::<Temperature>("own_temperature", 0.0..=190.0),
        simulated: true,
        step_us: 1,
    }
}
