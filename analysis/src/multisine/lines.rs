//! Which lines of a multisine carry power. Plain arithmetic without memory of its own; random numbers are an argument.

use ndarray::ArrayView1;
use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

use crate::spectra::Transform;

/// Lines of a multisine, as multiples of the inverse period; all lists ascend.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MultisineLines {
    /// Lines that carry power.
    pub excited: Vec<usize>,
    /// Odd lines within the range that carry none: odd distortion (friction, symmetric gaps, clipping) shows there.
    pub silent_odd: Vec<usize>,
    /// Even lines within the range; none carries power: even distortion (asymmetry) shows there.
    pub silent_even: Vec<usize>,
}

impl MultisineLines {
    /// Sorts the lines of a range by what they carry. Works for any choice of excited lines; of even lines those without
    /// power are listed.
    pub fn of(excited: &[usize], last: usize) -> Self {
        let mut excited = excited.to_vec();
        excited.sort_unstable();
        excited.dedup();
        let first = excited.first().copied().unwrap_or(1);
        let silent = |odd: bool| -> Vec<usize> {
            (first..=last)
                .filter(|k| (k % 2 == 1) == odd && excited.binary_search(k).is_err())
                .collect()
        };
        let (silent_odd, silent_even) = (silent(true), silent(false));
        Self {
            excited,
            silent_odd,
            silent_even,
        }
    }
}

impl MultisineLines {
    /// Lines of one period, up to `highest`, whose power reaches `share` of that of the strongest line: those of a signal
    /// whose lines are not listed. A pseudo-random binary signal has all of them until the time of its bit takes power away
    /// (a share of 0.25: until 0.6 over that time).
    pub fn by_power(period: ArrayView1<'_, f64>, highest: usize, share: f64) -> Self {
        let spectrum = Transform::new(period.len()).forward(period.to_vec());
        let power: Vec<f64> = spectrum.iter().take(highest + 1).map(|u| u.norm_sqr()).collect();
        let most = power.iter().skip(1).copied().fold(0.0, f64::max);
        let excited: Vec<usize> = (1..power.len())
            .filter(|k| power[*k] >= share * most && most > 0.0)
            .collect();
        let last = excited.last().copied().unwrap_or(0);
        Self::of(&excited, last)
    }
}

/// How far one period of values goes, at most, from what its mean and the lines of `excited` alone can make; 0 for an empty
/// period. Values that were cut off spread over all lines, and only what falls on excited ones does not show here.
pub fn off_lines(period: ArrayView1<'_, f64>, excited: &[usize]) -> f64 {
    let n = period.len();
    if n == 0 {
        return 0.0;
    }
    let mut spectrum = Transform::new(n).forward(period.to_vec());
    // Without half the sample rate: its phase cannot be told.
    for k in excited.iter().chain(&[0]).filter(|k| 2 * *k < n) {
        spectrum[*k] = Complex64::default();
    }
    let apart = Transform::backward(spectrum, n);
    apart.iter().fold(0.0, |most, x| most.max(x.abs()))
}

/// Odd lines from `first` to `last` with one left out at random in each group of `group` (random odd grid; Pintelon and
/// Schoukens, System Identification, 2nd ed., 4.3.1: four is usual). `random` gives numbers from 0 to 1, 1 excluded.
///
/// All odd lines are excited when `group` is below 2. The last group may be short; it then keeps all its lines.
pub fn odd_random_lines(
    first: usize,
    last: usize,
    group: usize,
    mut random: impl FnMut() -> f64,
) -> MultisineLines {
    let odd: Vec<usize> = (first.max(1)..=last).filter(|k| k % 2 == 1).collect();
    let mut excited = Vec::with_capacity(odd.len());
    for part in odd.chunks(group.max(1)) {
        let left_out =
            (part.len() == group && group > 1).then(|| ((random() * group as f64) as usize).min(group - 1));
        excited.extend(
            part.iter()
                .enumerate()
                .filter(|(i, _)| Some(*i) != left_out)
                .map(|(_, k)| *k),
        );
    }
    MultisineLines::of(&excited, last)
}
