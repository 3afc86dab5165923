//! A year of records.

use super::{MODELS, Model};
use crate::Refusal;
use crate::shifts::{Cause, Factor, causes};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal, Uniform};

/// Working days of the year.
const DAYS: usize = 250;
/// Day from which units carry the newer firmware.
const FIRMWARE_DAY: usize = 140;
/// The fixture whose bearing wears.
pub const WORN_FIXTURE: &str = "fixture C";
/// The bad batch of belts, of Base 9.
pub const BAD_BATCH: &str = "L07";
/// Places in a record's values.
const LATENCY: usize = 0;
const FRICTION: usize = 2;
const RESONANCE: usize = 4;

/// Which causes are planted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Planted {
    /// Firmware 1.5 answers 0.2 ms later on both belt models.
    pub firmware: bool,
    /// Breakaway friction seen on fixture C grows by a fifth over the year, on all models and the check unit.
    pub fixture: bool,
    /// Belts of batch L07 lower the first resonance of Base 9 by 4 %.
    pub batch: bool,
    /// Two units of Base 12, one by its friction, one by bandwidth and resonance that do not go together.
    pub odd_units: bool,
}

impl Planted {
    /// All of them.
    pub const ALL: Self = Self {
        firmware: true,
        fixture: true,
        batch: true,
        odd_units: true,
    };
    /// None: a factory in which nothing happens.
    pub const NONE: Self = Self {
        firmware: false,
        fixture: false,
        batch: false,
        odd_units: false,
    };
}

/// One unit, measured once.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Serial number.
    pub unit: String,
    /// Place in [`MODELS`].
    pub model: usize,
    /// Days since the year began.
    pub day: f64,
    /// Which bench.
    pub bench: String,
    /// Which fixture.
    pub fixture: String,
    /// The unit's firmware.
    pub firmware: String,
    /// Batch of its belt, or of its motor.
    pub batch: String,
    /// Who measured, by number.
    pub operator: String,
    /// In the order of the model's measurands.
    pub values: [f64; 5],
}

/// A check unit's breakaway friction on one fixture.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Days since the year began.
    pub day: f64,
    /// Which fixture.
    pub fixture: String,
    /// Breakaway friction, N·m.
    pub value: f64,
}

/// A year of the factory.
#[derive(Debug, Clone, PartialEq)]
pub struct Year {
    /// Every unit, in the order of time.
    pub records: Vec<Record>,
    /// The check unit on every fixture, every fifth day.
    pub checks: Vec<Check>,
    /// Breakaway friction of ten units of Base 9, `[unit][bench][repeat]`, three times on each bench.
    pub gauge: Vec<Vec<Vec<f64>>>,
    /// Serial numbers of the planted odd units.
    pub odd: Vec<String>,
}

/// A cause that the statistics found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Place in [`MODELS`].
    pub model: usize,
    /// Place in its measurands.
    pub measurand: usize,
    /// What goes with the change.
    pub cause: Cause,
}

struct Chance(ChaCha8Rng);

impl Chance {
    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    fn below(&mut self, n: usize) -> usize {
        Uniform::new(0, n).map_or(0, |u| u.sample(&mut self.0))
    }
}

/// Makes a year of `units` units of each model.
///
/// # Errors
/// [`Refusal::OutOfRange`] outside 100 to 100,000 units a model.
pub fn year(units: usize, planted: Planted, seed: u64) -> Result<Year, Refusal> {
    Refusal::unless_within("the units of a model", units as f64, 100.0, 100_000.0)?;
    let mut chance = Chance(ChaCha8Rng::seed_from_u64(seed));
    let mut records = Vec::with_capacity(units * MODELS.len());
    for number in 0..units {
        for (model, m) in MODELS.iter().enumerate() {
            let day = DAYS as f64 * (number as f64 + chance.below(1000) as f64 / 1000.0) / units as f64;
            records.push(record(number, model, m, day, planted, &mut chance));
        }
    }
    records.sort_by(|a, b| a.day.total_cmp(&b.day));
    let odd = if planted.odd_units {
        let of = |nth: usize| {
            records
                .iter()
                .enumerate()
                .filter(|(_, r)| r.model == 2)
                .nth(nth)
                .map(|(i, _)| i)
        };
        let places: Vec<usize> = [units / 4, units / 2].into_iter().filter_map(of).collect();
        for (which, place) in places.iter().enumerate() {
            let values = &mut records[*place].values;
            let spread = |i: usize| MODELS[2].measurands[i].sd.hypot(MODELS[2].measurands[i].bench_sd);
            if which == 0 {
                values[FRICTION] += 8.0 * spread(FRICTION);
            } else {
                values[1] += 2.4 * spread(1);
                values[RESONANCE] -= 2.4 * spread(RESONANCE);
            }
        }
        places.iter().map(|p| records[*p].unit.clone()).collect()
    } else {
        Vec::new()
    };
    Ok(Year {
        records,
        checks: checks(planted, &mut chance),
        gauge: gauge(&mut chance),
        odd,
    })
}

/// What fixture C adds to friction on a day, as a share.
fn wear(fixture: &str, day: f64, planted: Planted) -> f64 {
    if planted.fixture && fixture == WORN_FIXTURE {
        0.2 * day / DAYS as f64
    } else {
        0.0
    }
}

fn record(number: usize, model: usize, m: &Model, day: f64, planted: Planted, chance: &mut Chance) -> Record {
    let fixture = format!("fixture {}", ["A", "B", "C", "D"][chance.below(4)]);
    let bench = format!("bench {}", 1 + chance.below(3));
    let newer = day >= FIRMWARE_DAY as f64;
    let batch = format!(
        "{}{:02}",
        if m.belt { "L" } else { "M" },
        1 + (day * 12.0 / DAYS as f64) as usize
    );
    let product: Vec<f64> = (0..5).map(|_| chance.normal()).collect();
    let mut values = [0.0; 5];
    for (i, (value, q)) in values.iter_mut().zip(&m.measurands).enumerate() {
        // What is stiff rings high and follows fast: bandwidth goes with the resonance.
        let own = if i == 1 {
            0.9 * product[RESONANCE] + 0.19_f64.sqrt() * product[1]
        } else {
            product[i]
        };
        *value = q.mean + q.sd * own + q.bench_sd * chance.normal();
    }
    if planted.firmware && m.belt && newer {
        values[LATENCY] += 0.2;
    }
    if planted.batch && m.name == "Base 9" && batch == BAD_BATCH {
        values[RESONANCE] -= 0.04 * m.measurands[RESONANCE].mean;
    }
    values[FRICTION] *= 1.0 + wear(&fixture, day, planted);
    Record {
        unit: format!("{}-{:05}", m.name.replace(' ', ""), number + 1),
        model,
        day,
        bench,
        fixture,
        firmware: if newer { "1.5" } else { "1.4" }.into(),
        batch,
        operator: format!("operator {}", 1 + chance.below(4)),
        values,
    }
}

fn checks(planted: Planted, chance: &mut Chance) -> Vec<Check> {
    let q = MODELS[1].measurands[FRICTION];
    let mut found = Vec::new();
    for day in (0..DAYS).step_by(5) {
        for letter in ["A", "B", "C", "D"] {
            let fixture = format!("fixture {letter}");
            let value = q.mean * (1.0 + wear(&fixture, day as f64, planted)) + q.bench_sd * chance.normal();
            found.push(Check {
                day: day as f64,
                fixture,
                value,
            });
        }
    }
    found
}

fn gauge(chance: &mut Chance) -> Vec<Vec<Vec<f64>>> {
    let q = MODELS[1].measurands[FRICTION];
    let benches: Vec<f64> = (0..3).map(|_| 0.3 * q.bench_sd * chance.normal()).collect();
    (0..10)
        .map(|_| {
            let unit = q.mean + q.sd * chance.normal();
            benches
                .iter()
                .map(|bench| {
                    (0..3)
                        .map(|_| unit + bench + q.bench_sd * chance.normal())
                        .collect()
                })
                .collect()
        })
        .collect()
}

impl Year {
    /// Looks for causes in every measurand of every model; the probability that any is named in a year without one is at most
    /// `alpha`.
    ///
    /// # Errors
    /// Those of [`causes`].
    pub fn causes(&self, alpha: f64) -> Result<Vec<Found>, Refusal> {
        let mut found = Vec::new();
        let each = alpha / (MODELS.len() * MODELS[0].measurands.len()) as f64;
        for (model, m) in MODELS.iter().enumerate() {
            let records: Vec<&Record> = self.records.iter().filter(|r| r.model == model).collect();
            let time: Vec<f64> = records.iter().map(|r| r.day).collect();
            let factors = factors(&records);
            for measurand in 0..m.measurands.len() {
                let values: Vec<f64> = records.iter().map(|r| r.values[measurand]).collect();
                found.extend(
                    causes(&values, &time, &factors, each)?
                        .into_iter()
                        .map(|cause| Found {
                            model,
                            measurand,
                            cause,
                        }),
                );
            }
        }
        Ok(found)
    }
}

/// Bench, fixture, firmware, batch and operator of records.
fn factors(records: &[&Record]) -> Vec<Factor> {
    let of = |name: &str, level: fn(&Record) -> &String| Factor {
        name: name.into(),
        levels: records.iter().map(|r| level(r).clone()).collect(),
    };
    vec![
        of("bench", |r| &r.bench),
        of("fixture", |r| &r.fixture),
        of("firmware", |r| &r.firmware),
        of("batch", |r| &r.batch),
        of("operator", |r| &r.operator),
    ]
}
