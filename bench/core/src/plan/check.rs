//! Checking a procedure against a rig, with findings in the procedure's lines.

use alloc::{format, string::String, vec::Vec};
use settings_file::{Finding, Findings, Place, write_number};

use crate::{
    excitation::{ExcitationKind, Realisation},
    plan::SETPOINT_STRIDE_US,
    procedure::{Level, Placed, Procedure, Segment},
    rig::{FarSide, Limits, Mounting, Rig, WindowFrom},
    units::{US_PER_S, show_nm, show_slew, show_us, us_from_s},
};

/// Highest frequency as a part of the sample rate: what remains is for the anti-alias filters.
const HIGHEST_PART_OF_RATE: f64 = 0.4;
/// A clamped rim rings: the sensor sees up to this many times a jump (a lightly damped mode overshoots by 40 to 95 %).
pub(crate) const RINGS_TO: f64 = 2.0;

/// A procedure held against a rig: collects what does not fit, and what should be known.
pub(crate) struct Against<'a> {
    pub(crate) procedure: &'a Procedure,
    pub(crate) rig: &'a Rig,
    /// The rig's limits, tightened by the procedure's own.
    pub(crate) limits: Limits,
    segment: Option<&'a Segment>,
    findings: Findings,
    notes: Vec<String>,
}

impl<'a> Against<'a> {
    pub(super) fn check(
        procedure: &'a Procedure,
        rig: &'a Rig,
        realisations: &[Vec<Realisation>],
    ) -> Result<(Limits, Vec<String>), Findings> {
        let to_stops = |segment: &Segment| segment.excitation.kind() == ExcitationKind::EndStop;
        let window_rad = match rig.travel_window_rad() {
            Some(travel_rad) if procedure.segments.iter().any(to_stops) => travel_rad,
            _ => rig.limits.rim_window_rad,
        };
        let (limits, wider) = procedure.limits.tightened(rig, window_rad);
        let mut against = Self {
            procedure,
            rig,
            limits,
            segment: None,
            findings: Findings::new(),
            notes: Vec::new(),
        };
        for wider in wider {
            let problem = format!("{}: wider than {} allows it", wider.what, rig.file);
            let fix = "tighten it, or remove it: the rig's own limit holds then";
            against.finding(wider.place, problem, Some(wider.allowed), fix);
        }
        against.window_holds_its_zero();
        against.head();
        for (segment, realisations) in procedure.segments.iter().zip(realisations) {
            against.segment = Some(segment);
            segment.excitation.check(&mut against, realisations);
        }
        let notes = against.notes;
        against.findings.or_value((limits, notes))
    }

    /// A window that is counted from the rim's place must hold that place.
    fn window_holds_its_zero(&mut self) {
        let Some(own) = &self.procedure.limits.rim_window_rad else {
            return;
        };
        let [low, high] = own.value;
        if self.limits.rim_window_from == WindowFrom::Arming && (low >= 0.0 || high <= 0.0) {
            let fix = "on this rig the window is counted from the rim's place at arming, so it must span 0";
            let problem = "does not hold the angle it is counted from";
            self.finding(&own.place, problem, None, fix);
        }
    }

    fn head(&mut self) {
        let (procedure, rig) = (self.procedure, self.rig);
        if procedure.mounting.value != rig.mounting {
            let problem = format!("{} has its rim {}", rig.file, rig.mounting);
            let fix = format!(
                "mount the rim {0} and say so in rig.mounting or with --mounting {0}, or choose a procedure for this \
                 mounting",
                procedure.mounting.value
            );
            self.finding(&procedure.mounting.place, problem, None, fix);
        }
        let ramp = &procedure.ramp_nm_per_s;
        if ramp.value > rig.limits.slew_nm_per_s {
            let allowed = Some(format!("at most {}", show_slew(rig.limits.slew_nm_per_s)));
            self.finding(
                &ramp.place,
                format!("beyond the slew limit of {}", rig.file),
                allowed,
                "lower it",
            );
        }
        let level = &procedure.approach.level;
        let level_nm = level.value.nm(rig.wheelbase.peak_torque_nm);
        let (share, words) = match rig.mounting {
            Mounting::Clamped | Mounting::BackDriven => (0.1, "a tenth of the peak torque"),
            // Friction alone may hold a free rim against a tenth; what gets past it has only the disc to turn.
            Mounting::Free => (0.25, "a quarter of the peak torque"),
        };
        let most_nm = share * rig.wheelbase.peak_torque_nm;
        if self.setpoint(&level.place, "the first torque", level_nm) && level_nm > most_nm {
            let allowed = Some(format!("at most {}, {words}", show_nm(most_nm)));
            let problem = "too great for a first torque that nothing has been checked for";
            self.finding(&level.place, problem, allowed, "lower it");
        }
        let push_nm_s = level_nm * procedure.approach.hold_us as f64 / US_PER_S;
        self.spun_up(&level.place, "the first torque", push_nm_s);
    }

    /// A level on this rig, N·m.
    pub(crate) fn nm(&self, level: &Placed<Level>) -> f64 {
        level.value.nm(self.rig.wheelbase.peak_torque_nm)
    }

    /// Whether a setpoint (its size, N·m) is within the rig's limit; notes a finding if not.
    pub(crate) fn setpoint(&mut self, place: &Place, what: &str, size_nm: f64) -> bool {
        let most_nm = self.limits.torque_nm;
        // A level of 100 % may come out a rounding above a limit of the same torque.
        if size_nm <= most_nm * (1.0 + 1e-12) {
            return true;
        }
        let own = most_nm < self.rig.limits.torque_nm;
        let whose = if own {
            "the procedure's own [limits]"
        } else {
            &self.rig.file
        };
        let problem = format!(
            "{what}: a setpoint of {}, beyond the limit of {whose}",
            show_nm(size_nm)
        );
        self.finding(
            place,
            problem,
            Some(format!("at most {}", show_nm(most_nm))),
            "lower it",
        );
        false
    }

    /// Notes a finding if a frequency is too high for the rate at which torque is sampled and set.
    pub(crate) fn highest_frequency(&mut self, frequency_hz: &Placed<f64>) {
        let slowest_us = self.procedure.sample_period_us.value.max(SETPOINT_STRIDE_US);
        let rate_hz = US_PER_S / f64::from(slowest_us);
        let highest_hz = HIGHEST_PART_OF_RATE * rate_hz;
        if frequency_hz.value > highest_hz * (1.0 + 1e-12) {
            let problem = format!(
                "beyond 0.4 of the {} Hz at which torque is sampled or set",
                write_number(rate_hz)
            );
            let allowed = Some(format!("at most {} Hz", write_number(highest_hz)));
            let fix = "lower it, or raise procedure.sample_rate";
            self.finding(&frequency_hz.place, problem, allowed, fix);
        }
    }

    /// Notes a finding if the rig's slew limit would be measured instead of the wheelbase, by what is commanded as a jump;
    /// and a note where the rig spreads the largest jump.
    pub(crate) fn jumps(&mut self, one: &str, many: &str, largest_nm: f64) {
        let (limit, able) = (self.rig.limits.slew_nm_per_s, self.rig.wheelbase.slew_nm_per_s);
        if limit < able {
            let problem = format!(
                "{one} is commanded as a jump, but {} limits the setpoint to {}, slower than the wheelbase's own {}: \
                 the limit would be measured, not the wheelbase",
                self.rig.file,
                show_slew(limit),
                show_slew(able)
            );
            let fix = format!(
                "raise rig.limits.slew to {} or more, or leave {many} out",
                show_slew(able)
            );
            self.segment_finding("excitation", problem, None, fix);
            return;
        }
        let spread_us = us_from_s(largest_nm / limit);
        if spread_us > u64::from(SETPOINT_STRIDE_US) {
            self.note(format!(
                "at rig.limits.slew the rig spreads the largest jump, {}, over {}",
                show_nm(largest_nm),
                show_us(spread_us)
            ));
        }
    }

    /// Whether what rings to a torque stays within the sensor's limit; else notes a finding. `allowed` tells from that limit
    /// how much of `what` would.
    pub(crate) fn rings(
        &mut self,
        place: &Place,
        what: &str,
        rings_to_nm: f64,
        allowed: impl Fn(f64) -> Option<String>,
    ) -> bool {
        let limit_nm = self.limits.sensor_torque_nm;
        if rings_to_nm <= limit_nm {
            return true;
        }
        let problem = format!(
            "ringing on the clamp can bring the measured torque to {}, beyond the rig's limit",
            show_nm(rings_to_nm)
        );
        let fix = format!("lower the {what} or the preload");
        self.finding(place, problem, allowed(limit_nm), fix);
        false
    }

    /// Notes a finding if an oscillation changes faster than the rig lets a setpoint change; `most_nm` is the amplitude that
    /// would not.
    pub(crate) fn slews(&mut self, place: &Place, slew_nm_per_s: f64, most_nm: f64, fix: &str) {
        if slew_nm_per_s > self.rig.limits.slew_nm_per_s {
            let problem = format!(
                "may change by {}, beyond the slew limit of {}",
                show_slew(slew_nm_per_s),
                self.rig.file
            );
            let allowed = Some(format!("an amplitude of at most {}", show_nm(most_nm)));
            self.finding(place, problem, allowed, fix);
        }
    }

    /// Notes at what resonance an oscillation trips the rig.
    pub(crate) fn resonance_note(&mut self, what: &str, preload_nm: f64, amplitude_nm: f64) {
        let most = (self.limits.sensor_torque_nm - preload_nm.abs()) / amplitude_nm;
        self.note(format!(
            "a resonance that amplifies the {what} by more than {} trips the rig's sensor torque limit",
            write_number(libm::round(most * 10.0) / 10.0)
        ));
    }

    /// Notes a finding if nothing holds the rim: a steady torque would turn it faster and faster.
    pub(crate) fn held_rim(&mut self, what: &str) {
        if self.rig.mounting == Mounting::Free {
            let problem = format!("{what} would spin up a free rim");
            let fix = "clamp the rim, or choose a procedure for a free one";
            self.segment_finding("excitation", problem, None, fix);
        }
    }

    /// Notes a finding if a push (torque over time, N·m·s) could bring a free disc to the limit of rim speed by itself.
    /// Friction and the wheelbase's own inertia are left out: they only slow it.
    pub(crate) fn spun_up(&mut self, place: &Place, what: &str, push_nm_s: f64) {
        let FarSide::Disc { inertia_kg_m2, .. } = self.rig.far_side else {
            return;
        };
        let (speed, most) = (push_nm_s / inertia_kg_m2, self.limits.rim_speed_rad_s);
        if speed > most {
            let problem = format!(
                "{what} would spin up a free rim, to as much as {} rad/s",
                write_number(speed)
            );
            let allowed = Some(format!(
                "at most {} N·m·s from zero to zero",
                write_number(most * inertia_kg_m2)
            ));
            self.finding(place, problem, allowed, "shorten it, lower it, or clamp the rim");
        }
    }

    /// Torque over time, N·m·s, of a ramp between zero and `torque_nm`.
    pub(crate) fn ramp_push_nm_s(&self, torque_nm: f64) -> f64 {
        0.5 * torque_nm * torque_nm / self.procedure.ramp_nm_per_s.value
    }

    /// Notes a finding at a value.
    pub(crate) fn finding(
        &mut self,
        place: &Place,
        problem: impl Into<String>,
        allowed: Option<String>,
        fix: impl Into<String>,
    ) {
        let mut finding = Finding::new(&self.procedure.file, place, problem, fix);
        finding.allowed = allowed;
        self.findings.push(finding);
    }

    /// Notes a finding about the segment as a whole.
    pub(crate) fn segment_finding(
        &mut self,
        key: &str,
        problem: impl Into<String>,
        allowed: Option<String>,
        fix: impl Into<String>,
    ) {
        let Some(segment) = self.segment else { return };
        let place = Place {
            line: segment.place.line,
            key: format!("{}.{key}", segment.place.key),
            written: format!("\"{}\"", segment.excitation.kind()),
        };
        self.finding(&place, problem, allowed, fix);
    }

    /// Notes what does not forbid the run but should be known beside its result.
    pub(crate) fn note(&mut self, note: String) {
        let name = self.segment.map_or("approach", |s| s.name.as_str());
        self.notes.push(format!("{name}: {note}"));
    }
}
