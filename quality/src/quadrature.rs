//! Integrals of smooth functions: Gauss and Kronrod's pair of 7 and 15 points, halved where they disagree.

/// Nodes of the 15-point rule on [0, 1] of its symmetric half, outermost first (QUADPACK, qk15).
const NODES: [f64; 8] = [
    0.991_455_371_120_812_6,
    0.949_107_912_342_758_5,
    0.864_864_423_359_769_1,
    0.741_531_185_599_394_4,
    0.586_087_235_467_691_1,
    0.405_845_151_377_397_2,
    0.207_784_955_007_898_47,
    0.0,
];
/// Weights of the 15-point rule.
const KRONROD: [f64; 8] = [
    0.022_935_322_010_529_224,
    0.063_092_092_629_978_56,
    0.104_790_010_322_250_18,
    0.140_653_259_715_525_92,
    0.169_004_726_639_267_9,
    0.190_350_578_064_785_4,
    0.204_432_940_075_298_89,
    0.209_482_141_084_727_82,
];
/// Weights of the 7-point rule, whose nodes are every other one.
const GAUSS: [f64; 4] = [
    0.129_484_966_168_869_7,
    0.279_705_391_489_276_64,
    0.381_830_050_505_118_9,
    0.417_959_183_673_469_4,
];
/// Deepest halving; a smooth function needs a handful.
const DEEPEST: u32 = 30;

fn pair(f: &impl Fn(f64) -> f64, low: f64, high: f64) -> (f64, f64) {
    let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
    let middle = f(centre);
    let (mut fine, mut coarse) = (KRONROD[7] * middle, GAUSS[3] * middle);
    for i in 0..7 {
        let sum = f(centre - half * NODES[i]) + f(centre + half * NODES[i]);
        fine += KRONROD[i] * sum;
        if i % 2 == 1 {
            coarse += GAUSS[i / 2] * sum;
        }
    }
    (fine * half, coarse * half)
}

fn part(f: &impl Fn(f64) -> f64, low: f64, high: f64, tolerance: f64, depth: u32) -> f64 {
    let (fine, coarse) = pair(f, low, high);
    if (fine - coarse).abs() <= tolerance || depth == 0 {
        return fine;
    }
    let middle = 0.5 * (low + high);
    part(f, low, middle, 0.5 * tolerance, depth - 1) + part(f, middle, high, 0.5 * tolerance, depth - 1)
}

/// Integral of `f` from `low` to `high` to the absolute `tolerance`; zero for an empty range.
pub(crate) fn integral(f: impl Fn(f64) -> f64, low: f64, high: f64, tolerance: f64) -> f64 {
    if high.partial_cmp(&low) != Some(std::cmp::Ordering::Greater) {
        return 0.0;
    }
    // Eight parts to begin with, so that a narrow peak is not missed by all nodes at once.
    let width = (high - low) / 8.0;
    let parts = (0..8).map(|i| low + f64::from(i) * width);
    parts
        .map(|start| part(&f, start, start + width, tolerance / 8.0, DEEPEST))
        .sum()
}

/// Zero of a function that rises or falls once through zero between `low` and `high`, by halving to the last bit.
pub(crate) fn crossing(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let rising = f(high) > 0.0;
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if (f(middle) > 0.0) == rising {
            high = middle;
        } else {
            low = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn integrals_with_closed_forms() {
        let near =
            |value: f64, expected: f64| assert!((value - expected).abs() < 1e-12, "{value} {expected}");
        near(integral(f64::sin, 0.0, std::f64::consts::PI, 1e-14), 2.0);
        near(
            integral(|x| (-0.5 * x * x).exp(), -10.0, 10.0, 1e-14),
            (2.0 * std::f64::consts::PI).sqrt(),
        );
        // A kink, and a peak that is narrow beside the range.
        near(integral(f64::abs, -1.0, 2.0, 1e-14), 2.5);
        near(
            integral(|x| (-0.5 * (x * 50.0_f64).powi(2)).exp(), -10.0, 10.0, 1e-14),
            (2.0 * std::f64::consts::PI).sqrt() / 50.0,
        );
        near(integral(|x| x, 1.0, 1.0, 1e-14), 0.0);
    }

    #[test]
    fn crossings_from_both_sides() {
        assert!((crossing(|x| x * x - 2.0, 0.0, 5.0) - 2.0_f64.sqrt()).abs() < 1e-15);
        assert!((crossing(|x| 2.0 - x * x, 0.0, 5.0) - 2.0_f64.sqrt()).abs() < 1e-15);
    }
}
