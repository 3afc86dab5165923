//! Pulses that stand alone.

use super::crest::{crest, crossings};
use super::{LATEST_S, Levelled, PulseRecord, PulseTerms, STANDS_OUT, check, over_pulses};
use crate::estimate::{Contribution, Outcome, Refusal};
use crate::statistics::mean_sd;

/// Half of a half-sine lasts this share of its width.
const HALF: f64 = 2.0 / 3.0;

/// What became of the pulses of one width, height and direction.
#[derive(Debug, Clone, PartialEq)]
pub struct Shock {
    /// Crest that arrives over the crest commanded.
    pub retention: Outcome,
    /// How much later the middle between both instants at half of the crest comes, s, the sensor's delay taken out.
    pub delay: Outcome,
    /// Duration at half of the crest over that commanded.
    pub width: Outcome,
    /// Largest torque either way from the delayed end of the pulse on, over the crest commanded.
    pub after: Outcome,
}

/// One pulse: share, middle (s), duration at half (s), share left.
fn one(record: &PulseRecord, terms: &PulseTerms) -> Result<[f64; 4], Refusal> {
    let levelled = Levelled::of(record, terms)?;
    let needed_s = terms.width_s + 0.5 * terms.width_s;
    if levelled.last_s() < needed_s {
        return Err(Refusal::TooShort {
            what: "a pulse with what is left behind it".into(),
            got_s: levelled.last_s(),
            needed_s,
        });
    }
    let window = levelled.index(0.0)..levelled.index(terms.width_s + LATEST_S);
    let found = crest(&levelled.y, window.start, window.end);
    let (place, height) = found.unwrap_or((0.0, 0.0));
    let amplitude = terms.amplitude_nm.abs();
    if height < STANDS_OUT * levelled.noise_nm || height <= 0.0 {
        return Err(Refusal::too_small(height.max(0.0), levelled.noise_nm, STANDS_OUT));
    }
    let flanks = crossings(&levelled.y, place.round() as usize, 0.5 * height);
    let [up, down] = flanks.ok_or_else(|| Refusal::TooShort {
        what: "both flanks of a pulse".into(),
        got_s: levelled.last_s(),
        needed_s: terms.width_s + LATEST_S,
    })?;
    let middle_s = 0.5 * (levelled.time(up) + levelled.time(down));
    let late_s = middle_s - 0.5 * terms.width_s;
    let rest = levelled.index(terms.width_s + late_s);
    let left = levelled.y[rest..].iter().map(|y| y.abs()).fold(0.0, f64::max);
    Ok([
        height / amplitude,
        late_s,
        (down - up) / terms.fs_hz,
        left / amplitude,
    ])
}

/// Reads pulses of one width, height and direction.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below two pulses, [`Refusal::OutOfRange`] for a width, rate or amplitude that is none,
/// [`Refusal::TooShort`] for a record without the level before a pulse or what is behind it, [`Refusal::TooSmall`] for a pulse
/// that does not stand out of the noise before it or comes the other way, [`Refusal::NonFinite`].
pub fn shock(pulses: &[PulseRecord], terms: &PulseTerms) -> Result<Shock, Refusal> {
    check(terms, pulses.len())?;
    let each: Vec<[f64; 4]> = pulses.iter().map(|p| one(p, terms)).collect::<Result<_, _>>()?;
    let noises: Vec<f64> = pulses
        .iter()
        .map(|p| Levelled::of(p, terms).map(|l| l.noise_nm))
        .collect::<Result<_, _>>()?;
    let noise = mean_sd(&noises)?.mean / terms.amplitude_nm.abs();
    let column = |k: usize| -> Vec<f64> { each.iter().map(|e| e[k]).collect() };
    let mean = |k: usize| mean_sd(&column(k)).map(|s| s.mean);
    let gain_u = |share: f64| Contribution::type_b("sensor gain", share.abs() * terms.gain_rel_u);
    // The greatest of several noisy samples is too great, by about a standard deviation of what five of them leave.
    let lifted = |share: f64| Contribution::rectangular("noise at the crest", share * noise);
    let crest_share = mean(0)?;
    let retention = over_pulses(
        &column(0),
        ("1", "parabola through the five samples about the crest"),
        [gain_u(crest_share), lifted(1.0)],
    );
    let [sensor_s, sensor_u_s] = terms.sensor_delay_s;
    let delays: Vec<f64> = column(1)
        .iter()
        .map(|late| late - 0.5 * terms.held_s - sensor_s)
        .collect();
    let delay = over_pulses(
        &delays,
        ("s", "middle between both instants at half of the crest"),
        [Contribution::type_b("declared sensor delay", sensor_u_s)],
    );
    let asked_s = HALF * terms.width_s;
    let widths: Vec<f64> = column(2).iter().map(|w| w / asked_s).collect();
    let width = over_pulses(
        &widths,
        ("1", "time between both instants at half of the crest"),
        [Contribution::rectangular(
            "noise at the crest",
            noise / crest_share.max(noise),
        )],
    );
    let after = over_pulses(
        &column(3),
        ("1", "largest torque either way behind the delayed end"),
        [gain_u(mean(3)?), lifted(2.0)],
    );
    Ok(Shock {
        retention: retention.into(),
        delay: delay.into(),
        width: width.into(),
        after: after.into(),
    })
}
