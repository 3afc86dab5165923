//! Every kind of fault, in one table.

use settings_file::{
    Amount, AmountError, Angle, Quantity, Ratio, Speed, TemperatureDifference, Time, Torque, Voltage,
    parse_quantity, write_number,
};

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FaultKind {
    /// The motor makes `size` N·m whenever it has power, whatever the setpoint.
    TorqueRunaway,
    /// The supply falls by `size` V.
    SupplySags,
    /// The clamp holds no more than `size` N·m from now on.
    ClampSlip,
    /// A hand holds the rim, or a free mounting's disc, with a friction of `size` N·m; 0 lets go.
    RimGrabbed,
    /// A blow changes the speed of the hub, or of a free mounting's disc, by `size` rad/s.
    RimStruck,
    /// The belt (or joint) slips by `size` rad at the rim: the motor's side goes on by so much without the hub.
    BeltSlips,
    /// The belt (or joint) breaks: nothing is transmitted any more.
    BeltBreaks,
    /// The torque sensor repeats its present counts.
    TorqueSensorStuck,
    /// The torque sensor is at the end of its range, on the side of `size`'s sign.
    TorqueSensorSaturated,
    /// The torque sensor gives its counts at zero torque.
    TorqueSensorDropsOut,
    /// The torque sensor's zero wanders by `size` N·m each second.
    TorqueSensorDrifts,
    /// The rim encoder's angle jumps by `size` rad.
    RimAngleJumps,
    /// The rim encoder repeats its present counts.
    RimAngleStuck,
    /// The rim encoder counts the other way, from where it is.
    RimAngleInverted,
    /// The temperature channel climbs by `size` K each second.
    TemperatureClimb,
    /// Each byte, either way, is lost with probability `size`.
    BytesLost,
    /// Each byte, either way, has one bit flipped with probability `size`.
    BytesFlipped,
    /// Each byte, either way, is doubled with probability `size`.
    BytesDoubled,
    /// Bytes, either way, arrive `size` seconds late.
    BytesDelayed,
    /// The next bytes either way end in the middle of a frame; once each.
    BytesCut,
    /// Nothing gets through any more, either way.
    PortVanishes,
    /// No sample is sent any more; everything else goes on.
    StreamFreeze,
    /// The controller reboots: state, configuration and ticks start anew.
    Reboot,
    /// Stop messages are ignored, and not answered.
    IgnoreStop,
    /// The controller's clock is fast by the share `size` (slow where negative), and with it all its periods and deadlines.
    ClockDrifts,
    /// The controller's tick count jumps by `size` seconds; backward at most to 0.
    ClockJumps,
    /// The emergency-stop input opens.
    EmergencyStop,
    /// The emergency-stop input closes.
    EmergencyStopReleased,
}

/// What a size is a size of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SizeQuantity {
    /// N·m.
    Torque,
    /// rad.
    Angle,
    /// rad/s.
    Speed,
    /// V.
    Voltage,
    /// A share, 1.
    Share,
    /// s.
    Time,
    /// K.
    Kelvin,
}

impl SizeQuantity {
    /// Reads a size with its unit; SI.
    ///
    /// # Errors
    /// What is wrong with the text, with the accepted units.
    pub fn parse(self, text: &str) -> Result<f64, AmountError> {
        let si = |amount: Amount| amount.si;
        match self {
            Self::Torque => parse_quantity::<Torque>(text).map(si),
            Self::Angle => parse_quantity::<Angle>(text).map(si),
            Self::Speed => parse_quantity::<Speed>(text).map(si),
            Self::Voltage => parse_quantity::<Voltage>(text).map(si),
            Self::Share => parse_quantity::<Ratio>(text).map(si),
            Self::Time => parse_quantity::<Time>(text).map(si),
            Self::Kelvin => parse_quantity::<TemperatureDifference>(text).map(si),
        }
    }

    /// What messages call it, and a size as it may be written.
    pub fn words(self) -> [&'static str; 2] {
        const fn of<Q: Quantity>() -> [&'static str; 2] {
            [Q::NAME, Q::EXAMPLE]
        }
        match self {
            Self::Torque => of::<Torque>(),
            Self::Angle => of::<Angle>(),
            Self::Speed => of::<Speed>(),
            Self::Voltage => of::<Voltage>(),
            Self::Share => of::<Ratio>(),
            Self::Time => of::<Time>(),
            Self::Kelvin => of::<TemperatureDifference>(),
        }
    }

    /// The unit in which people read it, and its size in SI.
    fn unit(self) -> (&'static str, f64) {
        match self {
            Self::Torque => ("N·m", 1.0),
            Self::Angle => ("deg", std::f64::consts::PI / 180.0),
            Self::Speed => ("rad/s", 1.0),
            Self::Voltage => ("V", 1.0),
            Self::Share => ("%", 0.01),
            Self::Time => ("s", 1.0),
            Self::Kelvin => ("K", 1.0),
        }
    }

    /// A size for people; it can be read again.
    pub fn show(self, si: f64) -> String {
        let (symbol, factor) = self.unit();
        format!("{} {symbol}", write_number(si / factor))
    }
}

/// The size of a kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeInfo {
    /// What it is a size of.
    pub quantity: SizeQuantity,
    /// Least and greatest, SI, both allowed.
    pub range: [f64; 2],
    /// What it is where it is left out; `None` where it must be given.
    pub left_out: Option<&'static str>,
}

impl SizeInfo {
    const fn new(quantity: SizeQuantity, range: [f64; 2]) -> Self {
        Self {
            quantity,
            range,
            left_out: None,
        }
    }

    /// The range for people: `-100 to 100 N·m`.
    pub fn range_text(&self) -> String {
        let (symbol, factor) = self.quantity.unit();
        let [low, high] = self.range.map(|si| write_number(si / factor));
        format!("{low} to {high} {symbol}")
    }
}

/// One kind with all that is to be known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KindInfo {
    /// The kind.
    pub kind: FaultKind,
    /// Its word in rig files and on the command line.
    pub word: &'static str,
    /// Its size; `None` where it has none.
    pub size: Option<SizeInfo>,
    /// What it does, in a line.
    pub meaning: &'static str,
}

impl KindInfo {
    /// What the size is, for people: unit, range and what it is where it is left out.
    pub fn size_text(&self) -> String {
        match &self.size {
            None => "no size".to_owned(),
            Some(size) => match size.left_out {
                Some(left_out) => format!("{}; left out: {left_out}", size.range_text()),
                None => size.range_text(),
            },
        }
    }
}

impl FaultKind {
    /// What there is to know of the kind.
    pub fn info(self) -> &'static KindInfo {
        // Every kind is in the table: a test goes through them.
        KINDS.iter().find(|info| info.kind == self).unwrap_or(&KINDS[0])
    }
}

const fn plain(kind: FaultKind, word: &'static str, meaning: &'static str) -> KindInfo {
    KindInfo {
        kind,
        word,
        size: None,
        meaning,
    }
}

const fn sized(
    kind: FaultKind,
    word: &'static str,
    quantity: SizeQuantity,
    range: [f64; 2],
    meaning: &'static str,
) -> KindInfo {
    KindInfo {
        kind,
        word,
        size: Some(SizeInfo::new(quantity, range)),
        meaning,
    }
}

use FaultKind as K;
use SizeQuantity as Q;

/// Most degrees that an angle may jump or a belt slip, in rad.
const ANGLE: f64 = 400.0 * std::f64::consts::PI / 180.0;

/// Every kind of fault: motor and supply, rim and belt, sensors, line, controller.
pub const KINDS: [KindInfo; 28] = [
    sized(
        K::TorqueRunaway,
        "torque-runaway",
        Q::Torque,
        [-100.0, 100.0],
        "the motor makes this torque, up to its peak, whenever it has power, whatever the setpoint; the sign is the direction",
    ),
    sized(
        K::SupplySags,
        "supply-sags",
        Q::Voltage,
        [0.0, 100.0],
        "the supply falls by this, at most to 1 V, and with it what the power stage can push",
    ),
    sized(
        K::ClampSlip,
        "clamp-slip",
        Q::Torque,
        [0.0, 100.0],
        "the clamp holds no more than this torque and slips beyond it; nothing on other mountings",
    ),
    sized(
        K::RimGrabbed,
        "rim-grabbed",
        Q::Torque,
        [0.0, 100.0],
        "a hand holds the rim, or a free mounting's disc, with this friction; 0 lets go",
    ),
    sized(
        K::RimStruck,
        "rim-struck",
        Q::Speed,
        [-100.0, 100.0],
        "a blow changes the speed of the hub, or of a free mounting's disc, by this",
    ),
    KindInfo {
        kind: K::BeltSlips,
        word: "belt-slips",
        size: Some(SizeInfo {
            quantity: Q::Angle,
            range: [-ANGLE, ANGLE],
            left_out: Some("one tooth"),
        }),
        meaning: "belt or joint slips: the motor's side is this much further on, at the rim, without the hub",
    },
    plain(
        K::BeltBreaks,
        "belt-breaks",
        "belt or joint breaks: nothing is transmitted to the hub any more",
    ),
    plain(
        K::TorqueSensorStuck,
        "torque-sensor-stuck",
        "the torque sensor repeats its present counts",
    ),
    sized(
        K::TorqueSensorSaturated,
        "torque-sensor-saturated",
        Q::Torque,
        [-100.0, 100.0],
        "the torque sensor is at the end of its range; only the sign counts: the side",
    ),
    plain(
        K::TorqueSensorDropsOut,
        "torque-sensor-drops-out",
        "the torque sensor gives its counts at zero torque",
    ),
    sized(
        K::TorqueSensorDrifts,
        "torque-sensor-drifts",
        Q::Torque,
        [-100.0, 100.0],
        "the torque sensor's zero wanders by this each second",
    ),
    sized(
        K::RimAngleJumps,
        "rim-angle-jumps",
        Q::Angle,
        [-ANGLE, ANGLE],
        "the rim encoder's angle jumps by this",
    ),
    plain(
        K::RimAngleStuck,
        "rim-angle-stuck",
        "the rim encoder repeats its present counts",
    ),
    plain(
        K::RimAngleInverted,
        "rim-angle-inverted",
        "the rim encoder counts the other way, from where it is",
    ),
    sized(
        K::TemperatureClimb,
        "temperature-climb",
        Q::Kelvin,
        [0.0, 1000.0],
        "the temperature channel climbs by this each second",
    ),
    sized(
        K::BytesLost,
        "bytes-lost",
        Q::Share,
        [0.0, 1.0],
        "each byte, either way, is lost with this probability",
    ),
    sized(
        K::BytesFlipped,
        "bytes-flipped",
        Q::Share,
        [0.0, 1.0],
        "each byte, either way, has one bit flipped with this probability",
    ),
    sized(
        K::BytesDoubled,
        "bytes-doubled",
        Q::Share,
        [0.0, 1.0],
        "each byte, either way, comes twice with this probability",
    ),
    sized(
        K::BytesDelayed,
        "bytes-delayed",
        Q::Time,
        [0.0, 1.0],
        "bytes, either way, arrive this much later",
    ),
    plain(
        K::BytesCut,
        "bytes-cut",
        "the next bytes, either way, end in the middle of a frame; once each way",
    ),
    plain(
        K::PortVanishes,
        "port-vanishes",
        "nothing gets through any more, either way",
    ),
    plain(
        K::StreamFreeze,
        "stream-freeze",
        "the controller sends no samples any more and does not notice; everything else goes on",
    ),
    plain(
        K::Reboot,
        "reboot",
        "the controller reboots: state and configuration are gone, ticks count from 0",
    ),
    plain(
        K::IgnoreStop,
        "ignore-stop",
        "the controller neither carries out stop messages nor answers them",
    ),
    sized(
        K::ClockDrifts,
        "clock-drifts",
        Q::Share,
        [-0.05, 0.05],
        "the controller's clock is fast by this (slow if negative), and with it ticks, periods and deadlines; 1 ppm is 0.0001 %",
    ),
    sized(
        K::ClockJumps,
        "clock-jumps",
        Q::Time,
        [-60.0, 60.0],
        "the controller's tick count jumps by this, backward at most to 0; its timer goes on, stamps before the jump stay",
    ),
    plain(
        K::EmergencyStop,
        "emergency-stop",
        "the emergency stop is pressed: the power stage loses its supply, and the input opens",
    ),
    plain(
        K::EmergencyStopReleased,
        "emergency-stop-released",
        "the emergency stop is released: the input closes",
    ),
];
