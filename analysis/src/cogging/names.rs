//! What the orders of a declared drivetrain are called.

use serde::{Deserialize, Serialize};

/// A step of the drivetrain, in the order from motor to rim.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Stage {
    /// A pair of gears.
    Gears {
        /// Teeth on the side of the motor.
        driving: u32,
        /// Teeth on the side of the rim.
        driven: u32,
    },
    /// A toothed belt on two pulleys.
    Belt {
        /// Teeth of the pulley on the side of the motor.
        driving: u32,
        /// Teeth of the pulley on the side of the rim.
        driven: u32,
        /// Teeth of the belt.
        belt: u32,
    },
}

/// What is declared of motor and drivetrain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drivetrain {
    /// Magnetic poles (twice the pole pairs).
    pub poles: u32,
    /// Slots of the stator.
    pub slots: u32,
    /// Steps from the motor to the rim; none for a direct drive.
    pub stages: Vec<Stage>,
}

/// An order with its name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NamedOrder {
    /// Periods per turn of the rim.
    pub order: f64,
    /// What it comes from.
    pub name: String,
}

impl Drivetrain {
    /// Turns of the motor per turn of the rim.
    pub fn ratio(&self) -> f64 {
        self.stages.iter().map(Stage::ratio).product()
    }
}

impl Stage {
    fn teeth(&self) -> (f64, f64) {
        match *self {
            Self::Gears { driving, driven } | Self::Belt { driving, driven, .. } => {
                (f64::from(driving), f64::from(driven))
            }
        }
    }

    fn ratio(&self) -> f64 {
        let (driving, driven) = self.teeth();
        driven / driving
    }
}

/// Cogging periods a turn of the motor: the least common multiple of slots and poles. Zero when either is.
pub fn cogging_periods(slots: u32, poles: u32) -> u64 {
    let (a, b) = (u64::from(slots), u64::from(poles));
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    a.checked_div(x).map_or(0, |q| q * b)
}

/// Every order that the declaration explains, rising. Two origins of one order are both listed: twice the electrical
/// frequency, for one, is also the pole count, and only ripple under load tells them apart.
pub fn named_orders(drivetrain: &Drivetrain) -> Vec<NamedOrder> {
    let mut found = Vec::new();
    let mut add = |order: f64, name: String| {
        if order > 0.0 && order.is_finite() {
            found.push(NamedOrder { order, name });
        }
    };
    let motor = drivetrain.ratio();
    let (poles, slots) = (f64::from(drivetrain.poles), f64::from(drivetrain.slots));
    let native = cogging_periods(drivetrain.slots, drivetrain.poles) as f64;
    for (times, word) in [(1.0, ""), (2.0, ", second harmonic")] {
        add(
            times * native * motor,
            format!("cogging, slots and poles together{word}"),
        );
        add(times * poles * motor, format!("poles (uneven slots){word}"));
        add(times * slots * motor, format!("slots (uneven magnets){word}"));
    }
    let pairs = 0.5 * poles;
    add(pairs * motor, "electrical, offset of a current sensor".into());
    add(
        2.0 * pairs * motor,
        "electrical, gains of the current sensors differ".into(),
    );
    add(
        6.0 * pairs * motor,
        "electrical, dead time and back-EMF shape".into(),
    );
    add(
        12.0 * pairs * motor,
        "electrical, dead time and back-EMF shape, second harmonic".into(),
    );
    let shafts = drivetrain.stages.len();
    let mut order = motor;
    for (k, stage) in drivetrain.stages.iter().enumerate() {
        let (driving, driven) = stage.teeth();
        let whose = if k == 0 {
            "motor shaft".to_owned()
        } else {
            format!("shaft {k} behind the motor")
        };
        add(order, format!("{whose}, once a turn (eccentric)"));
        match stage {
            Stage::Gears { .. } => {
                add(order * driving, format!("gear mesh {driving}:{driven}"));
                add(
                    2.0 * order * driving,
                    format!("gear mesh {driving}:{driven}, second harmonic"),
                );
            }
            Stage::Belt { belt, .. } => {
                add(order * driving, format!("belt teeth {driving}:{driven}"));
                add(
                    2.0 * order * driving,
                    format!("belt teeth {driving}:{driven}, second harmonic"),
                );
                add(
                    order * driving / f64::from(*belt),
                    format!("belt of {belt} teeth, once a pass"),
                );
            }
        }
        order *= driving / driven;
    }
    let whose = if shafts == 0 { "motor and rim" } else { "rim" };
    add(1.0, format!("{whose}, once a turn (eccentric)"));
    found.sort_by(|a, b| a.order.total_cmp(&b.order));
    found
}

/// The names within `tolerance` of an order, nearest first.
pub fn names_of(order: f64, tolerance: f64, named: &[NamedOrder]) -> Vec<NamedOrder> {
    let mut near: Vec<NamedOrder> = named
        .iter()
        .filter(|n| (n.order - order).abs() <= tolerance)
        .cloned()
        .collect();
    near.sort_by(|a, b| (a.order - order).abs().total_cmp(&(b.order - order).abs()));
    near
}
