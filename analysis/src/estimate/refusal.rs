//! Reasons for giving no result.

/// Why the data cannot support a result: what happened, what it means, what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Refusal {
    /// Fewer usable repeats than the method needs.
    #[error(
        "{what}: {got} usable repeats, at least {needed} are needed, so there is no spread to judge by; record more repeats"
    )]
    TooFewRepeats {
        /// What was to be estimated.
        what: String,
        /// Usable repeats.
        got: usize,
        /// Least number.
        needed: usize,
    },
    /// Fewer samples than the method needs.
    #[error("{what}: {got} samples, at least {needed} are needed; record a longer window or sample faster")]
    TooFewSamples {
        /// What they were to be used for.
        what: String,
        /// Samples found.
        got: usize,
        /// Least number.
        needed: usize,
    },
    /// A number that is not finite, or a negative uncertainty.
    #[error(
        "{what} is not a finite number at index {index}: the record is damaged or a gap was left in it; leave that part out or record again"
    )]
    NonFinite {
        /// Which array or value.
        what: String,
        /// First offending index.
        index: usize,
    },
    /// Two arrays that belong together differ in length.
    #[error(
        "{what}: lengths {left} and {right} differ though they belong together; pass arrays of one window"
    )]
    LengthMismatch {
        /// Which arrays.
        what: String,
        /// Length of the first.
        left: usize,
        /// Length of the second.
        right: usize,
    },
    /// Time stamps that are not evenly spaced.
    #[error(
        "time stamps are uneven at index {index}: {step_s} s where {expected_s} s is due, so samples were lost; leave this repeat out"
    )]
    UnevenTime {
        /// Index of the offending interval.
        index: usize,
        /// Interval found, s.
        step_s: f64,
        /// Interval due, s.
        expected_s: f64,
    },
    /// Records of one estimate that were not taken alike.
    #[error("records differ in {what}: {left} against {right}; estimate them apart")]
    RecordsDiffer {
        /// In what.
        what: String,
        /// Value in the first record.
        left: f64,
        /// Value in the other.
        right: f64,
    },
    /// The torque is still moving when the record ends.
    #[error(
        "the torque has not settled: {excursion_nm} N·m away from the level at {at_s} s, band {band_nm} N·m, so there is no final state; hold the step longer or look for drift or a limit cycle"
    )]
    NeverSettled {
        /// Last instant outside the band, s.
        at_s: f64,
        /// Distance from the level then, N·m.
        excursion_nm: f64,
        /// Half-width of the band, N·m.
        band_nm: f64,
    },
    /// The torque moves against the command.
    #[error(
        "wrong sign: {measured} measured for {commanded} commanded ({what}); check the wiring and the sign in the rig file before driving again"
    )]
    WrongSign {
        /// What was compared.
        what: String,
        /// Commanded change or expected gain.
        commanded: f64,
        /// Measured change or gain.
        measured: f64,
    },
    /// A change that drowns in noise.
    #[error(
        "amplitude {amplitude_nm} N·m is {ratio} times the noise of {noise_nm} N·m, at least {needed} is needed; use a larger step or a quieter sensor"
    )]
    TooSmall {
        /// Amplitude, N·m.
        amplitude_nm: f64,
        /// Noise, N·m.
        noise_nm: f64,
        /// Their ratio.
        ratio: f64,
        /// Least ratio.
        needed: f64,
    },
    /// A record that ends before the method has what it needs.
    #[error("{what}: the record covers {got_s} s, {needed_s} s is needed; record longer")]
    TooShort {
        /// What was to be covered.
        what: String,
        /// Covered, s.
        got_s: f64,
        /// Needed, s.
        needed_s: f64,
    },
    /// A signal at its limit.
    #[error(
        "{what} reaches {value_nm} N·m with its limit at {limit_nm} N·m, so the response is cut off and not linear; lower the amplitude"
    )]
    Saturated {
        /// Which signal.
        what: String,
        /// Largest magnitude, N·m.
        value_nm: f64,
        /// Limit, N·m.
        limit_nm: f64,
    },
    /// Output that does not follow input.
    #[error(
        "coherence {coherence:.3} at {f_hz:.1} Hz is below {limit}: noise or distortion outweighs the response there; raise the amplitude, average more, or lower f_max"
    )]
    LowCoherence {
        /// Frequency, Hz.
        f_hz: f64,
        /// Coherence there.
        coherence: f64,
        /// Least coherence.
        limit: f64,
    },
    /// A delay that the window cannot hold.
    #[error(
        "delay of {delay_s} s does not fit the window of {window_s} s; record a longer window or check that the setpoint and torque share one clock"
    )]
    DelayBeyondWindow {
        /// Delay found, s.
        delay_s: f64,
        /// Window, s.
        window_s: f64,
    },
    /// Frequencies too near half the sample rate.
    #[error(
        "f_max {f_max_hz} Hz is above {limit_hz} Hz (0.4 of {fs_hz} samples/s), where the anti-alias filter lets images through; lower f_max or sample faster"
    )]
    Aliasing {
        /// Highest frequency asked for, Hz.
        f_max_hz: f64,
        /// Highest allowed, Hz.
        limit_hz: f64,
        /// Sample rate, Hz.
        fs_hz: f64,
    },
    /// A fit that did not come to rest.
    #[error(
        "{what} did not converge after {iterations} iterations ({reason}); its numbers would be meaningless, inspect the curve"
    )]
    NotConverged {
        /// Which fit.
        what: String,
        /// Iterations made.
        iterations: usize,
        /// Why it stopped.
        reason: String,
    },
    /// A level that the curve never crosses in the range measured.
    #[error(
        "{what}: no crossing of {level:.3} between {f_min_hz:.1} Hz and {f_max_hz:.1} Hz; excite a wider range"
    )]
    NoCrossing {
        /// Which crossing.
        what: String,
        /// Level looked for (ratio).
        level: f64,
        /// Lowest frequency seen, Hz.
        f_min_hz: f64,
        /// Highest frequency seen, Hz.
        f_max_hz: f64,
    },
    /// A level that the curve passes where it is too ragged to say at which frequency.
    #[error(
        "{what}: the curve is beyond {level:.3} near {f_hz:.1} Hz, but so ragged there (coherence {coherence:.2}) that no frequency can be named: what arrives is hardly an answer to the command; keep the torque from changing sign with a larger preload or a smaller amplitude, or look at its distortion"
    )]
    RaggedCrossing {
        /// Which crossing.
        what: String,
        /// Level looked for (ratio).
        level: f64,
        /// Frequency near which the curve is first beyond it, Hz.
        f_hz: f64,
        /// Least coherence of the curve around that frequency.
        coherence: f64,
    },
    /// Events that follow several periods alike.
    #[error(
        "several {what} fit alike, from {from_ms:.4} to {to_ms:.4} ms: the starts lie on a grid of their own; spread them with a longer `dither`"
    )]
    Ambiguous {
        /// Which periods of what.
        what: String,
        /// Shortest, ms.
        from_ms: f64,
        /// Longest, ms.
        to_ms: f64,
    },
    /// Events that follow no period.
    #[error(
        "{what} follow no period: the mean arrow is {concentration}, at least {limit} is needed; the firmware may not poll, its clock may wander, or other jitter outweighs its period: use the mean delay and its spread instead"
    )]
    NoPattern {
        /// Which events.
        what: String,
        /// Length of the mean arrow found, 0 to 1.
        concentration: f64,
        /// Least length.
        limit: f64,
    },
    /// An onset that a gap in the drivetrain hides.
    #[error(
        "{what}: onset comes {apart_s} s later for small steps than for large ones, as it does when the drivetrain crosses a gap first, so delay and crossing cannot be told apart; add steps from a preload of the same sign"
    )]
    GapInTheWay {
        /// What was to be estimated.
        what: String,
        /// Difference in onset between the smallest and the largest step, s.
        apart_s: f64,
    },
    /// A frequency at which the fixture decides the result.
    #[error(
        "{f_hz} Hz is at or above the rig's lowest mode of {rig_mode_hz} Hz, so the fixture decides what is seen there; stiffen the fixture, or correct with a model of it"
    )]
    RigDecides {
        /// Frequency of the result, Hz.
        f_hz: f64,
        /// Lowest mode of the rig, Hz.
        rig_mode_hz: f64,
    },
    /// A baseline that moves by itself.
    #[error(
        "the torque drifts by {drift_nm} N·m over the record, before the step as after it, which is more than the settling band of {band_nm} N·m; let sensor and unit warm up, or look for creep in the clamp"
    )]
    Drifting {
        /// Drift over the record, N·m.
        drift_nm: f64,
        /// Half-width of the settling band, N·m.
        band_nm: f64,
    },
    /// An option or a result outside what makes sense.
    #[error("{what} is {value} {unit}, allowed {low} to {high} {unit}")]
    OutOfRange {
        /// What.
        what: String,
        /// Its value.
        value: f64,
        /// Least allowed.
        low: f64,
        /// Most allowed.
        high: f64,
        /// Unit.
        unit: String,
    },
    /// Parameters that the data cannot part.
    #[error("{what} cannot be told apart from {with}: {measure} {value:.4} is beyond {limit:.4}; {remedy}")]
    Confounded {
        /// What was to be estimated.
        what: String,
        /// What it is tied to.
        with: String,
        /// What was judged.
        measure: String,
        /// Its value.
        value: f64,
        /// Its limit.
        limit: f64,
        /// What would part them.
        remedy: String,
    },
    /// A quantity that does not stand out of the noise: an upper bound is all the data support.
    #[error(
        "{what} does not stand out of the noise: {found:.4e} {unit} found, below {bound:.4e} {unit} with a probability of {level}; that bound is the result, a longer or quieter record would lower it"
    )]
    BelowNoise {
        /// What was to be estimated.
        what: String,
        /// Best value.
        found: f64,
        /// Upper bound.
        bound: f64,
        /// Probability that the true value lies below the bound.
        level: f64,
        /// Unit of both.
        unit: String,
    },
    /// Torque that grows with command as far as it was commanded.
    #[error(
        "torque still grows with command at {largest_nm:.4} N·m, so saturation sets in above that, if at all"
    )]
    NoSaturation {
        /// Largest command, N·m.
        largest_nm: f64,
    },
    /// A record that does not reach far enough in some quantity.
    #[error("{what}: {got:.4} {unit} covered, {needed:.4} {unit} needed; {remedy}")]
    NotCovered {
        /// What was to be covered.
        what: String,
        /// Covered.
        got: f64,
        /// Needed.
        needed: f64,
        /// Unit of both.
        unit: String,
        /// What to do.
        remedy: String,
    },
}

impl Refusal {
    /// [`Refusal::TooSmall`] of a change and its noise, both N·m; the ratio is 0 where no noise was seen.
    pub(crate) fn too_small(amplitude_nm: f64, noise_nm: f64, needed: f64) -> Self {
        let ratio = if noise_nm > 0.0 {
            amplitude_nm / noise_nm
        } else {
            0.0
        };
        Self::TooSmall {
            amplitude_nm,
            noise_nm,
            ratio,
            needed,
        }
    }

    /// [`Refusal::OutOfRange`] of a value that must lie between `low` and `high`.
    pub(crate) fn out_of_range(what: &str, value: f64, low: f64, high: f64, unit: &str) -> Self {
        Self::OutOfRange {
            what: what.into(),
            value,
            low,
            high,
            unit: unit.into(),
        }
    }

    /// Stable short code for documents and tests.
    pub fn code(&self) -> &'static str {
        match self {
            Self::TooFewRepeats { .. } => "too_few_repeats",
            Self::TooFewSamples { .. } => "too_few_samples",
            Self::NonFinite { .. } => "non_finite",
            Self::LengthMismatch { .. } => "length_mismatch",
            Self::UnevenTime { .. } => "uneven_time",
            Self::RecordsDiffer { .. } => "records_differ",
            Self::NeverSettled { .. } => "never_settled",
            Self::WrongSign { .. } => "wrong_sign",
            Self::TooSmall { .. } => "too_small",
            Self::TooShort { .. } => "too_short",
            Self::Saturated { .. } => "saturated",
            Self::LowCoherence { .. } => "low_coherence",
            Self::DelayBeyondWindow { .. } => "delay_beyond_window",
            Self::Aliasing { .. } => "aliasing",
            Self::NotConverged { .. } => "not_converged",
            Self::NoCrossing { .. } => "no_crossing",
            Self::RaggedCrossing { .. } => "ragged_crossing",
            Self::NoPattern { .. } => "no_pattern",
            Self::Ambiguous { .. } => "ambiguous",
            Self::GapInTheWay { .. } => "gap_in_the_way",
            Self::RigDecides { .. } => "rig_decides",
            Self::Drifting { .. } => "drifting",
            Self::OutOfRange { .. } => "out_of_range",
            Self::Confounded { .. } => "confounded",
            Self::BelowNoise { .. } => "below_noise",
            Self::NoSaturation { .. } => "no_saturation",
            Self::NotCovered { .. } => "not_covered",
        }
    }
}
