//! Half-sine pulses, alone or in trains.

use alloc::{format, vec::Vec};
use core::f64::consts::PI;
use settings_file::{Section, Time, write_number};

use super::{ExcitationKind, Timing};
use crate::{
    plan::{Against, Facts, Layout, Shape},
    procedure::{Level, Placed, Sign, read_level_or_zero, read_levels},
    units::{s_from_us, show_nm, show_slew, us_from_s},
};

/// The torque of one pulse as a function of the time since its start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HalfSineTorque {
    /// Torque on which it rides, N·m.
    pub preload_nm: f64,
    /// Its crest above the preload, N·m; either way.
    pub amplitude_nm: f64,
    /// Its width, s.
    pub width_s: f64,
}

impl HalfSineTorque {
    /// The torque at `t_s`, N·m: `preload + amplitude sin(π t/width)`; the preload outside `0..=width`.
    pub fn at(&self, t_s: f64) -> f64 {
        if t_s <= 0.0 || t_s >= self.width_s {
            return self.preload_nm;
        }
        self.preload_nm + self.amplitude_nm * libm::sin(PI * t_s / self.width_s)
    }
}

/// Hold at the preload after the last pulse while the rig rings down, µs; part of its window.
const AFTER_US: u64 = 100_000;
/// Greatest response of an undamped oscillator to a half-sine, over its crest: 1.77 (shock spectrum; Harris and Piersol,
/// Shock and Vibration Handbook, ch. 8; from memory).
const SHOCK: f64 = 1.77;

/// Half-sine pulses of several widths and levels.
///
/// As with steps the preload is applied in the direction of the first pulse of each train.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct HalfSine {
    /// Widths, µs.
    pub widths: Vec<Placed<u64>>,
    /// Crests, counted from the preload; either way.
    pub levels: Vec<Placed<Level>>,
    /// Torque on which they ride, in the direction of each level; zero or above.
    pub preload: Placed<Level>,
    /// Pulses in a train.
    pub count: u32,
    /// From the start of a pulse to the start of the next one in a train, µs.
    pub spacing_us: u64,
    /// Whether every second pulse of a train goes the other way.
    pub alternate: bool,
    /// Whether widths and levels come in random order within each repeat.
    pub shuffle: bool,
    /// Repeats (of all widths with all levels) and rests.
    pub timing: Timing,
}

impl HalfSine {
    pub(super) fn read(s: &Section<'_>) -> Self {
        let widths: Vec<Placed<u64>> = match s.entry("widths", "[\"10 ms\", …]") {
            Some(entry) => entry
                .elements(1..=20)
                .iter()
                .map(|e| Placed {
                    value: us_from_s(e.quantity::<Time>(0.002..=1.0)),
                    place: e.place(),
                })
                .collect(),
            None => Vec::new(),
        };
        let count = u32::try_from(s.integer_or("count", 1..=1000, 1)).unwrap_or(1);
        let widest_us = widths.iter().map(|w| w.value).max().unwrap_or(0);
        let spacing_us = if count > 1 {
            us_from_s(s.quantity::<Time>("spacing", 0.002..=60.0))
        } else {
            0
        };
        if count > 1 && s.has("spacing") && spacing_us < widest_us {
            let allowed = Some(format!("{} ms or more", write_number(widest_us as f64 / 1e3)));
            let problem = "shorter than the widest pulse, which would run into the next";
            s.report("spacing", problem, allowed, "lengthen it");
        }
        Self {
            widths,
            levels: read_levels(s, "levels", Sign::NotZero, 1..=100),
            preload: read_level_or_zero(s, "preload", Sign::NotNegative),
            count,
            spacing_us,
            alternate: count > 1 && s.boolean_or("alternate", false),
            shuffle: s.boolean_or("shuffle", true),
            timing: Timing::read(s),
        }
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        let preload_nm = against.nm(&self.preload);
        let (limit, able) = (
            against.rig.limits.slew_nm_per_s,
            against.rig.wheelbase.slew_nm_per_s,
        );
        let largest_nm = self.levels.iter().map(|level| against.nm(level).abs());
        let largest_nm = largest_nm.fold(0.0, f64::max);
        for width in &self.widths {
            // A half-sine is steepest at its ends.
            let slew = PI * largest_nm / s_from_us(width.value);
            if slew > limit {
                let problem = format!(
                    "the highest pulse would change by up to {}, beyond the slew limit of {}",
                    show_slew(slew),
                    against.rig.file
                );
                let least_ms = PI * largest_nm / limit * 1e3;
                let allowed = Some(format!("{} ms or more at this level", write_number(least_ms)));
                against.finding(&width.place, problem, allowed, "widen it, or lower the level");
            } else if slew > able {
                against.note(format!(
                    "pulses of {} in {} ms ask for {}, more than the wheelbase's own {}",
                    show_nm(largest_nm),
                    write_number(width.value as f64 / 1e3),
                    show_slew(slew),
                    show_slew(able)
                ));
            }
        }
        for level in &self.levels {
            self.check_level(against, level, preload_nm);
        }
    }

    fn check_level(&self, against: &mut Against<'_>, level: &Placed<Level>, preload_nm: f64) {
        let crest_nm = against.nm(level).abs();
        if !against.setpoint(&level.place, "preload and pulse together", preload_nm + crest_nm) {
            return;
        }
        let widest_us = self.widths.iter().map(|w| w.value).max().unwrap_or(0);
        let pulses = f64::from(self.count);
        let train_us = u64::from(self.count - 1) * self.spacing_us + widest_us + AFTER_US;
        let push_nm_s = preload_nm * s_from_us(self.timing.settle_us + train_us)
            + pulses * 2.0 / PI * crest_nm * s_from_us(widest_us)
            + 2.0 * against.ramp_push_nm_s(preload_nm);
        against.spun_up(&level.place, "a pulse", push_nm_s);
        let allowed = |limit_nm: f64| {
            let most_nm = (limit_nm - preload_nm) / SHOCK;
            (most_nm > 0.0).then(|| format!("pulses of at most {} on this preload", show_nm(most_nm)))
        };
        let one_passes = against.rings(&level.place, "pulse", preload_nm + SHOCK * crest_nm, allowed);
        if one_passes && preload_nm + SHOCK * crest_nm * pulses > against.limits.sensor_torque_nm {
            against.note(format!(
                "pulses of {} that keep step with a resonance may build up to the rig's sensor torque limit",
                show_nm(crest_nm)
            ));
        }
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let peak_nm = layout.peak_torque_nm();
        let preload_nm = self.preload.value.nm(peak_nm);
        for _ in 0..self.timing.repeats {
            let every = (0..self.widths.len()).flat_map(|w| (0..self.levels.len()).map(move |l| (w, l)));
            let mut order: Vec<(usize, usize)> = every.collect();
            if self.shuffle {
                layout.shuffle(&mut order);
            }
            for (width, index) in order {
                let (Some(width), Some(level)) = (self.widths.get(width), self.levels.get(index)) else {
                    continue;
                };
                if layout.is_full() {
                    return;
                }
                let amplitude_nm = level.value.nm(peak_nm);
                let from_nm = preload_nm.copysign(amplitude_nm);
                layout.prepare(&self.timing, from_nm);
                self.lay_train(layout, index, from_nm, amplitude_nm, width.value);
                layout.ramp_to(0.0);
                layout.next_repeat();
            }
        }
    }

    fn lay_train(
        &self,
        layout: &mut Layout<'_>,
        level: usize,
        from_nm: f64,
        amplitude_nm: f64,
        width_us: u64,
    ) {
        for pulse in 0..self.count {
            if layout.is_full() {
                return;
            }
            let turned = self.alternate && pulse % 2 == 1;
            let torque = HalfSineTorque {
                preload_nm: from_nm,
                amplitude_nm: if turned { -amplitude_nm } else { amplitude_nm },
                width_s: s_from_us(width_us),
            };
            // What a pulse does shows behind it, so the gap is its window's, not that of the next.
            if pulse == 0 {
                layout.excite(width_us, Shape::HalfSine(torque));
            } else {
                layout.excite_on(width_us, Shape::HalfSine(torque));
            }
            let after_us = if pulse + 1 < self.count {
                self.spacing_us.saturating_sub(width_us)
            } else {
                AFTER_US
            };
            layout.rest(after_us);
            layout.window(Facts {
                level,
                amplitude_nm: torque.amplitude_nm,
                preload_nm: from_nm,
                after_us,
                part: pulse,
                ..Facts::between(ExcitationKind::HalfSine, from_nm, from_nm)
            });
        }
    }
}
