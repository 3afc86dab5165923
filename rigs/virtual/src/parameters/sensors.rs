//! `[virtual.sensors]`.

use std::f64::consts::TAU;

use settings_file::{
    Angle, Current, Frequency, Ratio, Section, TemperatureDifference, Time, Torque, Voltage,
};

use crate::plant::PlantParameters;
use crate::sensors::{
    MotorPositionParameters, RimEncoderParameters, SensorParameters, SlowChannelParameters,
    TorqueSensorParameters, group_delay_s,
};

/// Counts at the end of a 16-bit channel.
const FULL_16_BIT: f64 = 32_767.0;

pub(super) fn read(table: &Section<'_>, plant: &PlantParameters) -> SensorParameters {
    let torque = table.section("torque");
    let rim = table.section("rim_encoder");
    let motor = table.section("motor_position");
    let slow = table.section("slow");
    let amplifier_hz = torque.quantity::<Frequency>("amplifier", 10.0..=5000.0);
    let peak_a = plant.torque.peak_nm / plant.motor.rim_nm_per_a();
    SensorParameters {
        torque: TorqueSensorParameters {
            range_nm: torque.quantity::<Torque>("range", 0.5..=1000.0),
            counts_at_range: torque.integer("counts_at_range", 1000..=i64::from(i32::MAX)) as i32,
            gain_error: torque.quantity::<Ratio>("gain_error", -0.2..=0.2),
            zero_nm: torque.quantity::<Torque>("zero", -5.0..=5.0),
            noise_nm: torque.quantity::<Torque>("noise", 0.0..=1.0),
            drift_nm_per_h: torque.quantity_or::<Torque>("drift_per_hour", -1.0..=1.0, 0.0),
            zero_nm_per_k: torque.quantity_or::<Torque>("zero_per_kelvin", -0.1..=0.1, 0.0),
            case_share: torque.quantity_or::<Ratio>("case_share", 0.0..=1.0, 0.0),
            amplifier_hz,
            declared_delay_s: torque.quantity_or::<Time>(
                "declared_delay",
                0.0..=50e-3,
                group_delay_s(amplifier_hz),
            ),
            load_nm: torque.quantity_or::<Torque>("load", -1000.0..=1000.0, 0.0),
        },
        rim: RimEncoderParameters {
            counts_per_turn: rim.integer("counts_per_turn", 100..=16_777_216) as u32,
            run_out_rad: rim.quantity_or::<Angle>("run_out", 0.0..=0.1, 0.0),
            run_out_phase_rad: rim.quantity_or::<Angle>("run_out_phase", -6.3..=6.3, 0.0),
        },
        motor: MotorPositionParameters {
            step_rad: TAU / motor.integer("counts_per_motor_turn", 10..=16_777_216) as f64,
            ratio: plant.motor.ratio,
            error_rad: motor.quantity::<Angle>("error", 0.0..=0.1),
            error_order: motor.number("error_order", 0.1..=1000.0),
            error_phase_rad: motor.quantity::<Angle>("error_phase", -6.3..=6.3),
            noise_rad: motor.quantity::<Angle>("noise", 0.0..=0.1),
        },
        current: SlowChannelParameters {
            scale: 2.0 * peak_a / FULL_16_BIT,
            noise: slow.quantity::<Current>("current_noise", 0.0..=10.0),
        },
        temperature: SlowChannelParameters {
            scale: 0.01,
            noise: slow.quantity::<TemperatureDifference>("temperature_noise", 0.0..=10.0),
        },
        supply: SlowChannelParameters {
            scale: 2.0 * plant.motor.supply_v / FULL_16_BIT,
            noise: slow.quantity::<Voltage>("supply_noise", 0.0..=10.0),
        },
    }
}
