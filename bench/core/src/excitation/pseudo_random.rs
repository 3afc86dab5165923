//! Pseudo-random binary signals: maximum-length sequences, one torque above and one below a preload.

use alloc::{format, vec::Vec};
use settings_file::{Section, Time};

use super::{ExcitationKind, Periods, Timing, Wave, WavePart, WaveTorque, timing};
use crate::{
    plan::{Against, Facts, Layout, RINGS_TO, Shape},
    procedure::{Level, Placed, Sign, read_level, read_level_or_zero},
    units::{show_nm, us_from_s},
};

/// Stages fed back into a shift register of each order from 3: exponents of a primitive polynomial over GF(2) (tables as
/// in Golomb, Shift Register Sequences, 1967; from memory, and each order's period is counted in a test).
const TAPS: [&[u32]; 14] = [
    &[3, 2],
    &[4, 3],
    &[5, 3],
    &[6, 5],
    &[7, 6],
    &[8, 6, 5, 4],
    &[9, 5],
    &[10, 7],
    &[11, 9],
    &[12, 6, 4, 1],
    &[13, 4, 3, 1],
    &[14, 5, 3, 1],
    &[15, 14],
    &[16, 15, 13, 4],
];

/// Lowest and highest order on offer.
const ORDERS: [u32; 2] = [3, 16];

/// One period of the maximum-length sequence of an order from 3 to 16: `2^order - 1` bits, the register full of ones at
/// the start. Its circular autocorrelation, as ±1, is `2^order - 1` at no shift and -1 at any other (Golomb). Empty for
/// other orders.
pub fn maximum_length_sequence(order: u32) -> Vec<bool> {
    let Some(taps) = order
        .checked_sub(ORDERS[0])
        .and_then(|index| TAPS.get(index as usize))
    else {
        return Vec::new();
    };
    let mut register = (1_u32 << order) - 1;
    (1_u32..1 << order)
        .map(|_| {
            let fed_back = taps.iter().fold(0, |bit, tap| bit ^ (register >> (tap - 1) & 1));
            let out = register >> (order - 1) & 1 == 1;
            register = (register << 1 | fed_back) & ((1 << order) - 1);
            out
        })
        .collect()
}

/// Repeated periods of a maximum-length sequence on a preload.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct PseudoRandom {
    /// Stages of the shift register.
    pub order: u32,
    /// How long each bit is held, µs.
    pub clock_us: Placed<u64>,
    /// Torque of a bit above or below the preload.
    pub amplitude: Placed<Level>,
    /// Torque on which it rides, either way.
    pub preload: Placed<Level>,
    /// Periods of each repeat.
    pub periods: Periods,
    /// Repeats and rests.
    pub timing: Timing,
}

impl PseudoRandom {
    pub(super) fn read(s: &Section<'_>) -> Self {
        let [low, high] = ORDERS.map(i64::from);
        Self {
            order: u32::try_from(s.integer("order", low..=high)).unwrap_or(ORDERS[0]),
            clock_us: Placed::of(s, "clock", us_from_s(s.quantity::<Time>("clock", 0.000_25..=1.0))),
            amplitude: read_level(s, "amplitude", Sign::Positive),
            preload: read_level_or_zero(s, "preload", Sign::Any),
            periods: Periods::read(s),
            timing: Timing::read(s),
        }
    }

    /// One period on a wheelbase of the given peak torque.
    pub fn wave(&self, peak_torque_nm: f64) -> Wave {
        let amplitude_nm = self.amplitude.value.nm(peak_torque_nm);
        let torque = |bit: bool| if bit { amplitude_nm } else { -amplitude_nm };
        let bits = maximum_length_sequence(self.order);
        Wave::new(self.clock_us.value, bits.into_iter().map(torque).collect())
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        timing::whole(against, &self.clock_us, "the time of a bit");
        let (preload_nm, amplitude_nm) = (against.nm(&self.preload), against.nm(&self.amplitude));
        let edge_nm = 2.0 * amplitude_nm;
        against.jumps("a pseudo-random signal", "pseudo-random signals", edge_nm);
        if preload_nm.abs() > 0.0 {
            against.held_rim("a preload");
        }
        let together = "preload and amplitude together";
        if !against.setpoint(&self.amplitude.place, together, preload_nm.abs() + amplitude_nm) {
            return;
        }
        let wave = self.wave(against.rig.wheelbase.peak_torque_nm);
        let push_nm_s = wave.greatest_push_nm_s(self.periods.count);
        against.spun_up(&self.amplitude.place, "a pseudo-random signal", push_nm_s);
        // From one side an edge rings as a step of twice the amplitude does.
        let from_nm = preload_nm.abs() - amplitude_nm;
        let allowed = |limit_nm: f64| {
            let most_nm = (limit_nm - preload_nm.abs()) / 3.0;
            (most_nm > 0.0).then(|| format!("at most {} on this preload", show_nm(most_nm)))
        };
        against.rings(
            &self.amplitude.place,
            "step",
            from_nm + RINGS_TO * edge_nm,
            allowed,
        );
        against.resonance_note("signal", preload_nm, amplitude_nm);
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let peak_nm = layout.peak_torque_nm();
        let preload_nm = self.preload.value.nm(peak_nm);
        let wave = self.wave(peak_nm);
        let shape = Shape::Wave(WaveTorque {
            wave: wave.clone(),
            preload_nm,
            part: WavePart::Whole,
        });
        for _ in 0..self.timing.repeats {
            if layout.is_full() {
                return;
            }
            layout.prepare(&self.timing, preload_nm);
            layout.excite_by_periods(self.periods, wave.period_us(), &shape, &|| Facts {
                amplitude_nm: wave.peak_nm(),
                preload_nm,
                ..Facts::between(ExcitationKind::PseudoRandom, preload_nm, preload_nm)
            });
            layout.jump_to(preload_nm);
            layout.rest(self.timing.settle_us);
            layout.ramp_to(0.0);
            layout.next_repeat();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_polynomial_on_offer_is_primitive() {
        assert_eq!(TAPS.len() as u32, ORDERS[1] - ORDERS[0] + 1);
        for order in ORDERS[0]..=ORDERS[1] {
            let bits = maximum_length_sequence(order);
            let length = (1_usize << order) - 1;
            assert_eq!(bits.len(), length);
            // A shift register of full period goes through every state but zero: every window of `order` bits is there
            // once, around the end.
            let mut seen = alloc::vec![false; 1 << order];
            for from in 0..length {
                let window = (0..order as usize).fold(0_usize, |window, i| {
                    window << 1 | usize::from(bits[(from + i) % length])
                });
                assert!(!seen[window], "order {order}: {window:#b} twice");
                seen[window] = true;
            }
            assert!(!seen[0]);
        }
        assert!(maximum_length_sequence(2).is_empty() && maximum_length_sequence(17).is_empty());
    }

    #[test]
    fn the_autocorrelation_has_two_values() {
        // Golomb: N at no shift, -1 at any other.
        for order in 3..=11 {
            let signs: Vec<i32> = maximum_length_sequence(order)
                .iter()
                .map(|bit| if *bit { 1 } else { -1 })
                .collect();
            let length = signs.len();
            for shift in 0..length {
                let sum: i32 = (0..length).map(|n| signs[n] * signs[(n + shift) % length]).sum();
                assert_eq!(
                    sum,
                    if shift == 0 { length as i32 } else { -1 },
                    "{order} {shift}"
                );
            }
        }
    }
}
