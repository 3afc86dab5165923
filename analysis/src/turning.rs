//! Where a signal turns round.

/// Indices of the extremes between which `x` moves by more than `hysteresis`, alternately high and low; the ends are
/// not among them. Smaller wiggles are passed over.
pub(crate) fn turning_points(x: &[f64], hysteresis: f64) -> Vec<usize> {
    let mut found = Vec::new();
    let Some(&first) = x.first() else { return found };
    let (mut low, mut high) = ((0, first), (0, first));
    // Unknown at first; then whether the signal rises.
    let mut rising: Option<bool> = None;
    for (i, &v) in x.iter().enumerate() {
        if v > high.1 {
            high = (i, v);
        }
        if v < low.1 {
            low = (i, v);
        }
        if rising != Some(false) && v < high.1 - hysteresis {
            if rising == Some(true) {
                found.push(high.0);
            }
            (rising, low) = (Some(false), (i, v));
        } else if rising != Some(true) && v > low.1 + hysteresis {
            if rising == Some(false) {
                found.push(low.0);
            }
            (rising, high) = (Some(true), (i, v));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_triangle_turns_at_its_tips_whatever_the_noise() {
        let wiggle = |i: usize| if i.is_multiple_of(2) { 0.8 } else { -0.8 };
        let x: Vec<f64> = (0..400_i32)
            .map(|i| f64::from(50 - ((i + 25) % 100 - 50).abs()) + wiggle(i as usize))
            .collect();
        let found = turning_points(&x, 10.0);
        let expected = [25, 75, 125, 175, 225, 275, 325, 375];
        assert_eq!(found.len(), expected.len());
        for (a, b) in found.iter().zip(expected) {
            assert!(a.abs_diff(b) <= 1, "{found:?}");
        }
        // The wiggles alone are turns when they are asked for.
        assert!(turning_points(&x, 0.1).len() > 200);
    }
}
