//! The kinds of quantity that rig files and procedures are written in.

use core::f64::consts::{PI, TAU};

use crate::quantity::{Quantity, Unit};

const fn unit(symbol: &'static str, also: &'static [&'static str], mul: f64, div: f64) -> Unit {
    Unit {
        symbol,
        also,
        mul,
        div,
    }
}

macro_rules! quantities {
    ($($name:ident, $words:literal, $example:literal, [$($unit:expr),+];)+) => {
        $(
            #[doc = concat!("A ", $words, ", written like `", $example, "`.")]
            #[derive(Clone, Copy, Debug, PartialEq, Eq)]
            pub enum $name {}
            impl Quantity for $name {
                const NAME: &'static str = $words;
                const EXAMPLE: &'static str = $example;
                const UNITS: &'static [Unit] = &[$($unit),+];
            }
        )+
        /// Every kind with its units, to tell a misplaced unit from an unknown one.
        pub(crate) const ALL: &[(&str, &[Unit])] = &[$((<$name as Quantity>::NAME, <$name as Quantity>::UNITS)),+];
    };
}

quantities! {
    Torque, "torque", "7 N·m", [unit("N·m", &["Nm"], 1.0, 1.0), unit("mN·m", &["mNm"], 1.0, 1e3)];
    Angle, "angle", "3 deg", [unit("rad", &[], 1.0, 1.0), unit("mrad", &[], 1.0, 1e3), unit("deg", &[], PI, 180.0)];
    Speed, "speed", "5 rad/s", [unit("rad/s", &[], 1.0, 1.0), unit("deg/s", &[], PI, 180.0), unit("rpm", &["1/min"], TAU, 60.0)];
    Acceleration, "angular acceleration", "500 rad/s²", [unit("rad/s²", &[], 1.0, 1.0), unit("deg/s²", &[], PI, 180.0)];
    Time, "time", "250 ms", [unit("s", &[], 1.0, 1.0), unit("ms", &[], 1.0, 1e3), unit("us", &[], 1.0, 1e6), unit("min", &[], 60.0, 1.0)];
    Frequency, "frequency", "0.5 Hz", [unit("Hz", &[], 1.0, 1.0), unit("kHz", &[], 1e3, 1.0)];
    Inertia, "moment of inertia", "0.002 kg·m²", [unit("kg·m²", &["kgm2"], 1.0, 1.0), unit("g·cm²", &["gcm2"], 1.0, 1e7), unit("g·m²", &[], 1.0, 1e3)];
    Stiffness, "torsional stiffness", "900 N·m/rad", [unit("N·m/rad", &["Nm/rad"], 1.0, 1.0), unit("N·m/deg", &["Nm/deg"], 180.0, PI)];
    Damping, "torsional damping", "0.4 N·m·s/rad", [unit("N·m·s/rad", &["Nms/rad"], 1.0, 1.0), unit("mN·m·s/rad", &["mNms/rad"], 1.0, 1e3)];
    Slew, "rate of torque", "2 N·m/ms", [unit("N·m/s", &["Nm/s"], 1.0, 1.0), unit("N·m/ms", &["Nm/ms"], 1e3, 1.0)];
    Temperature, "temperature", "80 °C", [unit("°C", &[], 1.0, 1.0)];
    TemperatureDifference, "difference of temperature", "5 K", [unit("K", &[], 1.0, 1.0)];
    Ratio, "ratio", "10 %", [unit("1", &[], 1.0, 1.0), unit("%", &[], 1.0, 1e2), unit("ppm", &[], 1.0, 1e6)];
    Voltage, "voltage", "24 V", [unit("V", &[], 1.0, 1.0), unit("mV", &[], 1.0, 1e3)];
    Current, "current", "9.4 A", [unit("A", &[], 1.0, 1.0), unit("mA", &[], 1.0, 1e3)];
    Resistance, "resistance", "0.8 ohm", [unit("ohm", &[], 1.0, 1.0), unit("mohm", &[], 1.0, 1e3)];
    Inductance, "inductance", "1.2 mH", [unit("H", &[], 1.0, 1.0), unit("mH", &[], 1.0, 1e3), unit("uH", &[], 1.0, 1e6)];
    Mass, "mass", "1.2 kg", [unit("kg", &[], 1.0, 1.0), unit("g", &[], 1.0, 1e3)];
    LinearDensity, "mass per length", "40 g/m", [unit("kg/m", &[], 1.0, 1.0), unit("g/m", &[], 1.0, 1e3)];
    Length, "length", "140 mm", [unit("m", &[], 1.0, 1.0), unit("mm", &[], 1.0, 1e3), unit("cm", &[], 1.0, 1e2)];
    Force, "force", "60 N", [unit("N", &[], 1.0, 1.0), unit("kN", &[], 1e3, 1.0)];
    Power, "power", "71 W", [unit("W", &[], 1.0, 1.0), unit("kW", &[], 1e3, 1.0)];
    TorqueConstant, "torque constant", "0.09 N·m/A", [unit("N·m/A", &["Nm/A"], 1.0, 1.0), unit("mN·m/A", &["mNm/A"], 1.0, 1e3)];
    BackEmf, "back-EMF constant", "0.09 V·s/rad", [unit("V·s/rad", &["Vs/rad"], 1.0, 1.0), unit("mV·s/rad", &["mVs/rad"], 1.0, 1e3)];
    ThermalResistance, "thermal resistance", "0.8 K/W", [unit("K/W", &[], 1.0, 1.0)];
    HeatCapacity, "heat capacity", "600 J/K", [unit("J/K", &[], 1.0, 1.0), unit("kJ/K", &[], 1e3, 1.0)];
    TemperatureCoefficient, "temperature coefficient", "0.39 %/K", [unit("1/K", &[], 1.0, 1.0), unit("%/K", &[], 1.0, 1e2), unit("ppm/K", &[], 1.0, 1e6)];
    TorqueDrift, "drift of torque with temperature", "4 mN·m/K", [unit("N·m/K", &["Nm/K"], 1.0, 1.0), unit("mN·m/K", &["mNm/K"], 1.0, 1e3)];
}
