//! What goes wrong in one run, drawn from its seed.

use bench_core::plan::{Plan, Role, Shape};
use bench_core::rig::Mounting;
use virtual_rig::faults::{FaultKind, KINDS, KindInfo};

use super::sizes;
use super::units::{MOUNTINGS, Unit};

/// From switching on to here an ordinary run greets, configures, proves stop and watchdog, and arms, µs.
pub const ARMING_US: u64 = 1_200_000;
/// One case in so many plays a slice of a shipped procedure instead of the short one.
const SLICES: f64 = 0.1;

/// When in a run the fault begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Moment {
    /// Before the first setpoint: greeting, proofs, arming.
    Arming,
    /// In the first small torque.
    Approach,
    /// On the way to or from a level.
    Ramp,
    /// At a held level or behind a step.
    Hold,
    /// In a chirp, a multisine or a pulse.
    Chirp,
    /// In a zero check.
    Zero,
    /// At rest between excitations.
    Between,
}

impl Moment {
    const ALL: [Self; 7] = [
        Self::Arming,
        Self::Approach,
        Self::Ramp,
        Self::Hold,
        Self::Chirp,
        Self::Zero,
        Self::Between,
    ];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Arming => "arming",
            Self::Approach => "approach",
            Self::Ramp => "ramp",
            Self::Hold => "hold",
            Self::Chirp => "chirp",
            Self::Zero => "zero",
            Self::Between => "between",
        }
    }

    /// When, `at` (0 to 1) through all of it that the plan has, µs of the plan; `None` where it has none.
    fn plan_us(self, plan: &Plan, at: f64) -> Option<u64> {
        let is = |role: Role, shape: &Shape| match self {
            Self::Arming => false,
            Self::Approach => role == Role::Approach,
            Self::Ramp => role == Role::Ramp,
            Self::Hold => role == Role::Excitation && matches!(shape, Shape::Level(_)),
            Self::Chirp => role == Role::Excitation && !matches!(shape, Shape::Level(_)),
            Self::Zero => role == Role::Zero,
            Self::Between => role == Role::Rest,
        };
        let fitting: Vec<(u64, u64)> = plan
            .pieces()
            .iter()
            .filter(|piece| is(piece.role, &piece.shape))
            .map(|piece| (piece.start_us, piece.end_us))
            .collect();
        let total: u64 = fitting.iter().map(|(from, to)| to - from).sum();
        let mut into = (at * total as f64) as u64;
        for (from, to) in fitting {
            if into < to - from {
                return Some(from + into);
            }
            into -= to - from;
        }
        None
    }
}

/// When a fault begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Onset {
    /// So long after switching on, µs.
    SinceBoot(u64),
    /// So long after the plan's zero, µs.
    InPlan(u64),
}

/// What the caller pins; the rest is drawn.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Only {
    /// The kind of fault.
    pub kind: Option<FaultKind>,
    /// The mounting.
    pub mounting: Option<Mounting>,
    /// The wheelbase.
    pub unit: Option<Unit>,
}

/// One run in which something goes wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Case {
    /// Decides everything that is not pinned.
    pub seed: u64,
    /// What was pinned.
    pub only: Only,
    /// What goes wrong.
    pub info: &'static KindInfo,
    /// On which wheelbase.
    pub unit: Unit,
    /// In which mounting.
    pub mounting: Mounting,
    /// When.
    pub moment: Moment,
    /// Where within that moment, 0 to 1.
    pub at: f64,
    /// Two draws, 0 to 1, from which the size comes.
    pub amount: [f64; 2],
    /// Whether the rig stops by braking; else it coasts.
    pub brakes: bool,
    /// Which slice of a shipped procedure is played, 0 to 1; `None` for the short procedure.
    pub slice: Option<f64>,
}

/// Numbers from a seed: the splitmix64 sequence (Steele, Lea and Flood 2014).
#[derive(Debug, Clone, Copy)]
pub struct Draws(u64);

impl Draws {
    /// Starts the sequence of a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// The next number, evenly from 0 to 1.
    pub const fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        let index = (self.unit() * from.len() as f64) as usize;
        from[index.min(from.len() - 1)]
    }
}

impl Case {
    /// The case of a seed.
    #[must_use]
    pub fn new(seed: u64, only: Only) -> Self {
        let mut draws = Draws::new(seed);
        let kinds: Vec<&'static KindInfo> = KINDS.iter().collect();
        let (kind, unit, mounting) = (draws.pick(&kinds), draws.pick(&Unit::ALL), draws.pick(&MOUNTINGS));
        let moment = draws.pick(&Moment::ALL);
        let (at, amount) = (draws.unit(), [draws.unit(), draws.unit()]);
        let brakes = draws.unit() < 0.5;
        let (sliced, which) = (draws.unit() < SLICES, draws.unit());
        Self {
            seed,
            only,
            info: only.kind.map_or(kind, FaultKind::info),
            unit: only.unit.unwrap_or(unit),
            mounting: only.mounting.unwrap_or(mounting),
            moment,
            at,
            amount,
            brakes,
            slice: sliced.then_some(which),
        }
    }

    /// Run `index` of a campaign with seed `master`.
    #[must_use]
    pub fn numbered(master: u64, index: u64, only: Only) -> Self {
        let mut draws = Draws::new(master ^ index.wrapping_mul(0xd6e8_feb8_6659_fd93));
        Self::new(draws.next(), only)
    }

    /// When the fault begins in this plan; a plan that has no such moment has it at the next one that it has.
    #[must_use]
    pub fn onset(&self, plan: &Plan) -> (Moment, Onset) {
        let first = Moment::ALL.iter().position(|m| *m == self.moment).unwrap_or(0);
        for step in 0..Moment::ALL.len() {
            let moment = Moment::ALL[(first + step) % Moment::ALL.len()];
            if moment == Moment::Arming {
                return (moment, Onset::SinceBoot((self.at * ARMING_US as f64) as u64));
            }
            if let Some(at) = moment.plan_us(plan, self.at) {
                return (moment, Onset::InPlan(at));
            }
        }
        (Moment::Arming, Onset::SinceBoot(0))
    }

    /// The size on this plant, SI.
    #[must_use]
    pub fn size(&self, plant: &virtual_rig::plant::PlantParameters) -> f64 {
        sizes::draw(self.info, plant).size(self.amount[0], self.amount[1])
    }

    /// The command that repeats it.
    #[must_use]
    pub fn command(&self) -> String {
        let mut text = format!(
            "cargo run --release -p acceptance --bin fault-campaign -- --replay {:#018x}",
            self.seed
        );
        if let Some(kind) = self.only.kind {
            text += &format!(" --fault {}", kind.info().word);
        }
        if let Some(mounting) = self.only.mounting {
            text += &format!(" --mounting {mounting}");
        }
        if let Some(unit) = self.only.unit {
            text += &format!(" --unit {}", unit.word());
        }
        text
    }
}
