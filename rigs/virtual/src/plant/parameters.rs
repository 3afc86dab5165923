//! Everything about the plant as checked values.

use super::{
    BearingParameters, DeratingParameters, DriveParameters, EndStopParameters, FirmwareParameters,
    FrictionParameters, GearParameters, Heat, HeatParameters, MotorParameters, MountingParameters,
    RippleOrder, Thermal, TorqueParameters, UnevenDrive, UnevenFriction,
};

/// Everything that describes the wheelbase and its mounting.
#[derive(Debug, Clone, PartialEq)]
pub struct PlantParameters {
    /// How setpoints are taken up.
    pub firmware: FirmwareParameters,
    /// Torque control.
    pub torque: TorqueParameters,
    /// Motor and supply.
    pub motor: MotorParameters,
    /// Rotor's inertia on the motor shaft, kg·m²; above 0.
    pub rotor_kg_m2: f64,
    /// Hub and everything between drive and sensor, kg·m²; above 0.
    pub hub_kg_m2: f64,
    /// Belt, gears or joint: the stage at the hub.
    pub drive: DriveParameters,
    /// How that stage changes with the angle.
    pub uneven_drive: Option<UnevenDrive>,
    /// Angle of a tooth on the hub, rad at the rim; what a belt slips by.
    pub tooth_rad: Option<f64>,
    /// Gear stage in front of it, and the shaft between the two; most units have none.
    pub gear: Option<GearParameters>,
    /// Friction on the motor side, at the rim.
    pub motor_friction: FrictionParameters,
    /// Friction on the output side.
    pub output_friction: FrictionParameters,
    /// Friction on the output side that changes with the angle.
    pub uneven: UnevenFriction,
    /// Cogging and ripple.
    pub ripple: Vec<RippleOrder>,
    /// Eccentricity of the output bearing.
    pub bearing: BearingParameters,
    /// End stops of the hub.
    pub end_stops: Option<EndStopParameters>,
    /// What the rim is fastened to.
    pub mounting: MountingParameters,
    /// Heat.
    pub heat: HeatParameters,
    /// How the firmware derates.
    pub derating: Option<DeratingParameters>,
}

impl PlantParameters {
    /// Rotor's inertia seen at the rim, `N²·J`, kg·m².
    pub fn reflected_kg_m2(&self) -> f64 {
        self.motor.ratio * self.motor.ratio * self.rotor_kg_m2
    }

    /// The stage at the hub at an angle of the hub.
    pub fn drive_at(&self, hub_angle_rad: f64) -> DriveParameters {
        self.uneven_drive
            .map_or(self.drive, |uneven| uneven.at(self.drive, hub_angle_rad))
    }

    /// What torque control feels of these temperatures.
    pub fn thermal(&self, heat: &Heat) -> Thermal {
        Thermal {
            resistance_ohm: heat.resistance_ohm(),
            flux: 1.0 - self.motor.flux_loss_per_k * (heat.case_degc() - 20.0),
            peak_share: self
                .derating
                .map_or(1.0, |derating| derating.peak_share(heat.winding_degc())),
        }
    }
}
