//! Contrast at the grip limit: how much of a drop in torque behind its crest arrives, and how late.

use super::{TraceRecords, over_repeats, shifted};
use crate::estimate::{Check, Contribution, Outcome, Refusal};
use crate::statistics::mean_sd;
use crate::zero_phase::LowPass;

/// Corner of the low-pass by which crest and floor are found, Hz, and its order: a driver's hands are slower.
const CORNER_HZ: f64 = 4.0;
const ORDER: usize = 4;
/// The fall has ended where its rate is this share of its steepest.
const ENDED: f64 = 0.05;
/// Earliest end of a fall, s, and the longest that one is looked for.
const FALL_S: [f64; 2] = [0.05, 3.0];
/// Means at crest and floor are taken over this share of the time between, either side, and at least so long, s.
const AROUND: f64 = 0.1;
const AROUND_S: f64 = 0.025;
/// A drop at the limit is within these shares of the crest.
const DROP: [f64; 2] = [0.02, 0.6];

/// Where the limit lies in a command.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitPlace {
    /// Sample of the crest.
    pub crest: usize,
    /// Sample where the fall behind it has ended.
    pub floor: usize,
    /// Samples either side of both over which means are taken.
    pub around: usize,
    /// 1 for a crest of positive torque, -1 for one of negative.
    pub sign: f64,
    /// Drop of the command, N·m.
    pub drop_nm: f64,
    /// Middle between both, with its sign, N·m.
    pub middle_nm: f64,
}

/// What of the limit arrives.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// Where it is.
    pub place: LimitPlace,
    /// Drop that arrives over drop commanded.
    pub contrast: Outcome,
    /// Delay of the middle of the drop, without the sensor's, s.
    pub late: Outcome,
    /// Drop of each repeat, N·m.
    pub drops_nm: Vec<f64>,
}

fn mean(x: &[f64], at: usize, around: usize) -> f64 {
    let part = &x[at.saturating_sub(around)..(at + around + 1).min(x.len())];
    part.iter().sum::<f64>() / part.len().max(1) as f64
}

/// Finds crest and floor of a command.
///
/// # Errors
/// [`Refusal::OutOfRange`] where no fall behind the crest ends or its drop is none of a grip limit; as [`LowPass`] does for a
/// command that is too short.
pub fn limit_place(command_nm: &[f64], fs_hz: f64) -> Result<LimitPlace, Refusal> {
    let smooth = LowPass::butterworth(ORDER, CORNER_HZ, fs_hz)?.run(command_nm)?;
    place_of(command_nm, &smooth, fs_hz)
}

fn place_of(command_nm: &[f64], smooth: &[f64], fs_hz: f64) -> Result<LimitPlace, Refusal> {
    let top = |x: &[f64]| {
        (0..x.len())
            .max_by(|a, b| x[*a].abs().total_cmp(&x[*b].abs()))
            .unwrap_or(0)
    };
    let crest = top(smooth);
    let sign = smooth[crest].signum();
    let fall = |i: usize| sign * (smooth[i] - smooth[i + 1]);
    let [earliest, longest] = FALL_S.map(|s| (s * fs_hz) as usize);
    let last = (crest + longest).min(smooth.len() - 1);
    let mut steepest = 0.0_f64;
    let floor = (crest..last).find(|i| {
        steepest = steepest.max(fall(*i));
        i - crest > earliest && fall(*i) < ENDED * steepest
    });
    let none = |share: f64| {
        let what = "the drop of the command behind its crest, as a share of the crest (no grip limit in this trace?)";
        Refusal::out_of_range(what, share, DROP[0], DROP[1], "1")
    };
    let floor = floor.ok_or_else(|| none(1.0))?;
    let around = ((AROUND * (floor - crest) as f64) as usize).max((AROUND_S * fs_hz) as usize);
    let (high, low) = (mean(command_nm, crest, around), mean(command_nm, floor, around));
    let drop_nm = sign * (high - low);
    let share = drop_nm / (sign * high);
    if !(DROP[0]..=DROP[1]).contains(&share) {
        return Err(none(share));
    }
    Ok(LimitPlace {
        crest,
        floor,
        around,
        sign,
        drop_nm,
        middle_nm: 0.5 * (high + low),
    })
}

/// First instant behind the crest at which a smoothed record falls through a level, in samples.
fn crosses(smooth: &[f64], place: &LimitPlace, level: f64) -> Option<f64> {
    let below = |i: &usize| place.sign * (smooth[*i] - level) < 0.0;
    let i = (place.crest..smooth.len()).find(below)?;
    let (a, b) = (*smooth.get(i.checked_sub(1)?)?, smooth[i]);
    Some(i as f64 - 1.0 + (a - level) / (a - b))
}

/// Means at crest and floor of every repeat, shifted by the delay of the whole trace, over those of the command; and the delay of
/// the middle.
///
/// # Errors
/// As [`limit_place`] and [`TraceRecords::check`].
pub fn limit(records: &TraceRecords, shift_s: f64, mean_nm: &[f64]) -> Result<Limit, Refusal> {
    records.check()?;
    let (fs_hz, command) = (records.fs_hz, &records.command_nm);
    let filter = LowPass::butterworth(ORDER, CORNER_HZ, fs_hz)?;
    let smooth = filter.run(command)?;
    let place = place_of(command, &smooth, fs_hz)?;
    let commanded = crosses(&smooth, &place, place.middle_nm);
    let (mut drops_nm, mut late) = (Vec::new(), Vec::new());
    for arrived in &records.arrived_nm {
        let own = shifted(arrived, shift_s, command.len(), fs_hz);
        let (high, low) = (
            mean(&own, place.crest, place.around),
            mean(&own, place.floor, place.around),
        );
        drops_nm.push(place.sign * (high - low));
        let smooth = filter.run(&arrived[..command.len()])?;
        let at = crosses(&smooth, &place, 0.5 * (high + low)).zip(commanded);
        late.extend(at.map(|(a, c)| (a - c) / fs_hz - records.not_its_own_s()));
    }
    let shares: Vec<f64> = drops_nm.iter().map(|drop| drop / place.drop_nm).collect();
    let share = mean_sd(&shares)?;
    let declared = Contribution::type_b(
        "declared gain of the sensor",
        share.mean.abs() * records.gain_rel_u,
    );
    let contrast = over_repeats(
        &shares,
        (
            "1",
            "drop of mean torque from crest to floor over that of the command",
        ),
        [declared],
    );
    let friction_nm = friction(records, mean_nm, &place);
    let scatter_nm = share.sd * place.drop_nm;
    let arrives_nm = share.mean * place.drop_nm;
    let checks = [
        Check::new(
            "drop over repeats",
            arrives_nm > 3.0 * scatter_nm,
            format!(
                "{arrives_nm:.3} of {:.3} N·m arrive, repeats scatter by {scatter_nm:.4} N·m",
                place.drop_nm
            ),
        ),
        Check::new(
            "drop over friction",
            place.drop_nm > 2.0 * friction_nm,
            format!(
                "{:.3} N·m commanded; torque on the way up and down differs by {:.3} N·m, twice what friction holds",
                place.drop_nm,
                2.0 * friction_nm
            ),
        ),
    ];
    let sensor = Contribution::type_b("declared sensor delay", records.sensor_delay_s[1]);
    let late: Outcome = if late.len() == drops_nm.len() && arrives_nm > 3.0 * scatter_nm {
        over_repeats(
            &late,
            ("s", "middle of the smoothed drop, torque less command"),
            [sensor],
        )
        .into()
    } else {
        Refusal::TooSmall {
            amplitude_nm: arrives_nm,
            noise_nm: scatter_nm,
            ratio: arrives_nm / scatter_nm.max(f64::MIN_POSITIVE),
            needed: 3.0,
        }
        .into()
    };
    Ok(Limit {
        place,
        contrast: contrast.map(|e| e.with_checks(checks)).into(),
        late,
        drops_nm,
    })
}

/// Half the difference of torque where the command passes half of its crest on the way up and on the way down, N·m; 0 where it does
/// not pass it twice.
fn friction(records: &TraceRecords, mean_nm: &[f64], place: &LimitPlace) -> f64 {
    let command = &records.command_nm;
    let level = 0.5 * command[place.crest];
    let above = |i: &usize| place.sign * (command[*i] - level) > 0.0;
    let up = (0..place.crest).rev().find(|i| !above(i));
    let down = (place.floor..command.len()).find(|i| !above(i));
    up.zip(down)
        .map_or(0.0, |(up, down)| {
            0.5 * place.sign * (mean(mean_nm, down, place.around) - mean(mean_nm, up, place.around))
        })
        .abs()
}
