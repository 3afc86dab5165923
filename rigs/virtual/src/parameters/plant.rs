//! The plant's sub-tables of `[virtual]`: firmware, torque, motor, inertia, drive, gear, friction, ripple, bearing, end
//! stops, heat. What a unit need not have may be left out.

use std::f64::consts::TAU;

use rand_chacha::ChaCha8Rng;
use settings_file::{
    Angle, BackEmf, Damping, Force, Frequency, HeatCapacity, Inertia, Length, Ratio, Resistance, Section,
    Slew, Speed, Stiffness, Temperature, ThermalResistance, Time, Torque, TorqueConstant, Voltage,
};

use super::mounting::{self, Mounting};
use crate::plant::{
    BearingParameters, DeratingParameters, DriveParameters, EndStopParameters, FirmwareParameters,
    FrictionParameters, GearParameters, HeatParameters, MotorParameters, PlantParameters, RippleOrder,
    TorqueParameters, UnevenDrive, UnevenFriction,
};
use crate::random::unit;

pub(super) fn read(table: &Section<'_>, mounting: Mounting, setup: &mut ChaCha8Rng) -> PlantParameters {
    let inertia = table.section("inertia");
    let friction = table.section("friction");
    PlantParameters {
        firmware: firmware(&table.section("firmware"), setup),
        torque: torque(&table.section("torque")),
        motor: motor(&table.section("motor")),
        rotor_kg_m2: inertia.quantity::<Inertia>("rotor", 1e-7..=1e-1),
        hub_kg_m2: inertia.quantity::<Inertia>("hub", 1e-5..=1e-1),
        drive: drive(&table.section("drive")),
        uneven_drive: table
            .section("drive")
            .optional_section("uneven")
            .map(|table| uneven_drive(&table)),
        tooth_rad: tooth_rad(&table.section("drive")),
        gear: table.optional_section("gear").map(|table| gear(&table)),
        motor_friction: side(&friction.section("motor")),
        output_friction: side(&friction.section("output")),
        uneven: friction
            .optional_section("uneven")
            .map(|table| uneven(&table))
            .unwrap_or_default(),
        ripple: table.sections("ripple", 0..=32).iter().map(ripple).collect(),
        bearing: table
            .optional_section("bearing")
            .map(|table| bearing(&table))
            .unwrap_or_default(),
        end_stops: table.optional_section("end_stops").map(|table| end_stops(&table)),
        mounting: mounting::read(table, mounting),
        heat: heat(&table.section("heat")),
        derating: table.optional_section("derating").map(|table| derating(&table)),
    }
}

fn firmware(table: &Section<'_>, setup: &mut ChaCha8Rng) -> FirmwareParameters {
    // Drawn in any case, so that fixing one of them in the file moves nothing else.
    let (phase, error) = (unit(setup), 2.0 * unit(setup) - 1.0);
    let spread = table.quantity::<Ratio>("clock_spread", 0.0..=1e-3);
    FirmwareParameters {
        period_s: table.quantity::<Time>("period", 50e-6..=20e-3),
        clock_error: spread * error,
        phase: table
            .optional("phase")
            .map_or(phase, |entry| entry.number(0.0..=1.0)),
        dead_time_s: table.quantity::<Time>("dead_time", 0.0..=0.1),
        jitter_s: table.quantity::<Time>("jitter", 0.0..=20e-3),
        smoothing_s: table.quantity_or::<Time>("smoothing", 0.0..=0.1, 0.0),
        deadband_nm: table.quantity_or::<Torque>("deadband", 0.0..=5.0, 0.0),
        resolution_nm: table.quantity_or::<Torque>("resolution", 0.0..=5.0, 0.0),
    }
}

fn torque(table: &Section<'_>) -> TorqueParameters {
    TorqueParameters {
        peak_nm: table.quantity::<Torque>("peak", 0.1..=100.0),
        slew_nm_per_s: table.quantity::<Slew>("slew", 1.0..=1e6),
        loop_hz: table.quantity::<Frequency>("loop_bandwidth", 10.0..=5000.0),
        gain: table.quantity::<Ratio>("gain", 0.1..=2.0),
        offset_nm: table.quantity::<Torque>("offset", -1.0..=1.0),
    }
}

fn motor(table: &Section<'_>) -> MotorParameters {
    let supply_v = table.quantity::<Voltage>("supply", 1.0..=100.0);
    MotorParameters {
        torque_constant_nm_per_a: table.quantity::<TorqueConstant>("torque_constant", 1e-3..=10.0),
        back_emf_v_s_per_rad: table.quantity::<BackEmf>("back_emf", 1e-3..=10.0),
        resistance_ohm: table.quantity::<Resistance>("resistance", 1e-3..=100.0),
        ratio: table.number("ratio", 0.1..=200.0),
        efficiency: table.quantity::<Ratio>("efficiency", 0.1..=1.0),
        supply_v,
        voltage_limit_v: table.quantity_or::<Voltage>("voltage_limit", 1.0..=100.0, supply_v),
        supply_resistance_ohm: table.quantity::<Resistance>("supply_resistance", 0.0..=10.0),
        loss_factor: table.quantity_or::<Ratio>("loss_factor", 1.0..=3.0, 1.0),
        flux_loss_per_k: table.quantity_or::<Ratio>("flux_loss_per_kelvin", 0.0..=0.005, 0.0),
    }
}

fn drive(table: &Section<'_>) -> DriveParameters {
    DriveParameters {
        stiffness_nm_per_rad: table.quantity::<Stiffness>("stiffness", 10.0..=1e5),
        damping_nm_s_per_rad: table.quantity::<Damping>("damping", 0.0..=50.0),
        backlash_rad: table.quantity::<Angle>("backlash", 0.0..=0.2),
        slack_nm: slack_nm(table),
    }
}

fn uneven_drive(table: &Section<'_>) -> UnevenDrive {
    UnevenDrive {
        gap_rad: table.quantity::<Angle>("gap", 0.0..=0.05),
        stiffness: table.quantity::<Ratio>("stiffness", 0.0..=0.9),
        order: f64::from(table.integer("order", 1..=10) as i32),
        slackest_rad: table.quantity::<Angle>("slackest", -6.3..=6.3),
    }
}

/// Torque from which the slack span of a belt carries nothing: `2·r·F₀`; never, where no tension is given.
fn slack_nm(table: &Section<'_>) -> f64 {
    let Some(tension) = table.optional("tension") else {
        return f64::INFINITY;
    };
    2.0 * table.quantity::<Length>("pulley_radius", 0.01..=0.3) * tension.quantity::<Force>(1.0..=2000.0)
}

/// Angle of a tooth of the wheel or pulley on the hub; none where it has no teeth.
fn tooth_rad(table: &Section<'_>) -> Option<f64> {
    let teeth = table.optional("teeth")?.integer(8..=1000);
    Some(TAU / teeth as f64)
}

fn gear(table: &Section<'_>) -> GearParameters {
    let shaft_ratio = table.number("shaft_ratio", 0.1..=100.0);
    GearParameters {
        mesh: DriveParameters {
            stiffness_nm_per_rad: table.quantity::<Stiffness>("stiffness", 10.0..=1e5),
            damping_nm_s_per_rad: table.quantity::<Damping>("damping", 0.0..=50.0),
            backlash_rad: table.quantity::<Angle>("backlash", 0.0..=0.2),
            slack_nm: f64::INFINITY,
        },
        shaft_kg_m2: shaft_ratio * shaft_ratio * table.quantity::<Inertia>("shaft", 1e-8..=1e-2),
        shaft_viscous_nm_s_per_rad: table.quantity::<Damping>("shaft_viscous", 0.0..=1.0),
        load_share: table.quantity::<Ratio>("load_friction", 0.0..=0.3),
    }
}

fn bearing(table: &Section<'_>) -> BearingParameters {
    BearingParameters {
        amplitude_nm: table.quantity::<Torque>("eccentricity", 0.0..=5.0),
        phase_rad: table.quantity::<Angle>("phase", -6.3..=6.3),
    }
}

fn end_stops(table: &Section<'_>) -> EndStopParameters {
    EndStopParameters {
        travel_rad: table.quantity::<Angle>("travel", 0.1..=60.0),
        centre_rad: table.quantity_or::<Angle>("centre", -6.3..=6.3, 0.0),
        stiffness_nm_per_rad: table.quantity::<Stiffness>("stiffness", 1.0..=1e5),
        damping_nm_s_per_rad: table.quantity::<Damping>("damping", 0.0..=50.0),
    }
}

fn derating(table: &Section<'_>) -> DeratingParameters {
    let [from_degc, to_degc] = table.pair::<Temperature>("span", 30.0..=200.0);
    DeratingParameters {
        from_degc,
        to_degc,
        left: table.quantity::<Ratio>("left", 0.0..=1.0),
    }
}

fn side(table: &Section<'_>) -> FrictionParameters {
    let coulomb_nm = table.quantity::<Torque>("coulomb", 1e-4..=10.0);
    let presliding_rad = table.quantity::<Angle>("presliding", 1e-5..=0.1);
    FrictionParameters {
        coulomb_nm,
        breakaway_nm: coulomb_nm * table.quantity::<Ratio>("breakaway_ratio", 1.0..=3.0),
        stribeck_rad_s: table.quantity::<Speed>("stribeck_speed", 1e-4..=10.0),
        stiffness_nm_per_rad: coulomb_nm / presliding_rad,
        damping_nm_s_per_rad: table.quantity::<Damping>("bristle_damping", 0.0..=10.0),
        damping_speed_rad_s: table.quantity::<Speed>("bristle_damping_speed", 1e-4..=1e3),
        viscous_nm_s_per_rad: table.quantity::<Damping>("viscous", 0.0..=1.0),
    }
}

fn uneven(table: &Section<'_>) -> UnevenFriction {
    UnevenFriction {
        swing_nm: table.quantity::<Torque>("swing", 0.0..=5.0),
        order: table.number("order", 0.5..=20.0),
        greatest_rad: table.quantity::<Angle>("greatest", -6.3..=6.3),
    }
}

fn ripple(table: &Section<'_>) -> RippleOrder {
    RippleOrder {
        order: table.number("order", 0.01..=5000.0),
        amplitude_nm: table.quantity_or::<Torque>("amplitude", 0.0..=5.0, 0.0),
        torque_share: table.quantity_or::<Ratio>("torque_share", 0.0..=0.5, 0.0),
        phase_rad: table.quantity::<Angle>("phase", -6.3..=6.3),
    }
}

fn heat(table: &Section<'_>) -> HeatParameters {
    HeatParameters {
        winding_case_k_per_w: table.quantity::<ThermalResistance>("winding_case", 1e-2..=50.0),
        case_air_k_per_w: table.quantity::<ThermalResistance>("case_air", 1e-2..=50.0),
        winding_j_per_k: table.quantity::<HeatCapacity>("winding", 1.0..=1e5),
        case_j_per_k: table.quantity::<HeatCapacity>("case", 1.0..=1e6),
        ambient_degc: table.quantity::<Temperature>("ambient", -20.0..=60.0),
    }
}
