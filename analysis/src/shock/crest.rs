//! Crests, valleys and crossings of a sampled curve.

/// The greatest value among samples `from..to` and its place between samples, by the parabola that fits the five samples about
/// the greatest one best; the sample itself where they bend the other way or it stands at an end. `None` for no samples.
pub(super) fn crest(y: &[f64], from: usize, to: usize) -> Option<(f64, f64)> {
    let to = to.min(y.len());
    let top = (from..to).max_by(|a, b| y[*a].total_cmp(&y[*b]))?;
    let alone = (top as f64, y[top]);
    if top < 2 || top + 2 >= y.len() {
        return Some(alone);
    }
    // Least squares on x = -2..2: Σx² = 10, Σx⁴ = 34.
    let five = [-2.0, -1.0, 0.0, 1.0, 2.0].map(|x: f64| (x, y[(top as f64 + x) as usize]));
    let bend = five.iter().map(|(x, v)| (x * x - 2.0) * v).sum::<f64>() / 14.0;
    let slope = five.iter().map(|(x, v)| x * v).sum::<f64>() / 10.0;
    let middle = five.iter().map(|(_, v)| v).sum::<f64>() / 5.0 - 2.0 * bend;
    if bend >= 0.0 {
        return Some(alone);
    }
    let at = -slope / (2.0 * bend);
    if at.abs() > 2.0 {
        return Some(alone);
    }
    Some((top as f64 + at, middle + 0.5 * slope * at))
}

/// The least value, likewise.
pub(super) fn valley(y: &[f64], from: usize, to: usize) -> Option<(f64, f64)> {
    let turned: Vec<f64> = y.iter().map(|v| -v).collect();
    crest(&turned, from, to).map(|(place, value)| (place, -value))
}

/// Places before and behind `top` at which the curve passes `level`, by straight lines between samples.
pub(super) fn crossings(y: &[f64], top: usize, level: f64) -> Option<[f64; 2]> {
    let before = (0..top.min(y.len())).rev().find(|i| y[*i] < level)?;
    let behind = (top..y.len()).find(|i| y[*i] < level)?;
    let between = |i: usize| (level - y[i]) / (y[i + 1] - y[i]);
    let last = behind.checked_sub(1)?;
    Some([before as f64 + between(before), last as f64 + between(last)])
}
