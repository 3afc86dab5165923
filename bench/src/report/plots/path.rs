//! Points as SVG paths, and fewer of them where a screen cannot show more.

use std::fmt::Write as _;

use super::canvas::Point;

/// A number with two decimals at most: a hundredth of a pixel.
pub(crate) fn short(value: f64) -> String {
    hundredths((100.0 * value).round().clamp(-1e8, 1e8) as i64)
}

/// `hundredths` of a pixel without a zero that says nothing: `-.5`, `12`, `3.25`.
fn hundredths(value: i64) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let (whole, part) = (value.abs() / 100, value.abs() % 100);
    let whole_text = if whole == 0 && part != 0 {
        String::new()
    } else {
        whole.to_string()
    };
    match (part / 10, part % 10) {
        (0, 0) => format!("{sign}{whole_text}").replace("-0", "0"),
        (tenth, 0) => format!("{sign}{whole_text}.{tenth}"),
        (tenth, rest) => format!("{sign}{whole_text}.{tenth}{rest}"),
    }
}

/// A path through points, every one but the first by its distance from the last: `M12 3l.5-1 .25 2`. Rounding does not add up.
pub(crate) fn open(points: &[Point]) -> String {
    let round = |v: f64| (100.0 * v).round().clamp(-1e8, 1e8) as i64;
    let mut text = String::new();
    let mut last = (0, 0);
    for (index, point) in points.iter().enumerate() {
        let now = (round(point.0), round(point.1));
        if index == 0 {
            let _ = write!(text, "M{} {}", hundredths(now.0), hundredths(now.1));
        } else {
            let step = (now.0 - last.0, now.1 - last.1);
            text.push(if index == 1 { 'l' } else { ' ' });
            text.push_str(&hundredths(step.0));
            if step.1 >= 0 {
                text.push(' ');
            }
            text.push_str(&hundredths(step.1));
        }
        last = now;
    }
    text
}

/// Fewer points for the same picture: of each column `width` px wide the first, the lowest, the highest and the last are kept (M4
/// aggregation: Jugel, Jerzak, Hackenbroich and Markl, Proc. VLDB 7, 2014). No peak is lost. The columns follow the points in their
/// order, so that a curve that turns back keeps its loops.
pub(crate) fn thinned(points: Vec<Point>, width: f64) -> Vec<Point> {
    if points.len() < 5 {
        return points;
    }
    let column = |p: &Point| (p.0 / width).floor();
    let mut kept: Vec<Point> = Vec::new();
    let mut start = 0;
    for end in 1..=points.len() {
        let ends = points
            .get(end)
            .is_none_or(|p| (column(p) - column(&points[start])).abs() > 0.0);
        if !ends {
            continue;
        }
        let own = &points[start..end];
        let by = |better: fn(f64, f64) -> bool| {
            let mut best = 0;
            for (index, point) in own.iter().enumerate() {
                if better(point.1, own[best].1) {
                    best = index;
                }
            }
            best
        };
        let mut chosen = [0, by(|a, b| a < b), by(|a, b| a > b), own.len() - 1];
        chosen.sort_unstable();
        for (place, index) in chosen.iter().enumerate() {
            if place == 0 || chosen[place - 1] != *index {
                kept.push(own[*index]);
            }
        }
        start = end;
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_is_short_and_does_not_drift() {
        assert_eq!(
            open(&[(12.0, 3.0), (12.5, 2.0), (12.754, 4.0)]),
            "M12 3l.5-1 .25 2"
        );
        assert_eq!(short(-0.5), "-.5");
        assert_eq!(short(-0.001), "0");
        assert_eq!(short(100.0), "100");
        // A thousand steps of a third of a hundredth: the sum of what is written is the end, rounded once.
        let points: Vec<Point> = (0..=1000).map(|k| (f64::from(k) / 300.0, 0.0)).collect();
        let text = open(&points);
        let steps = text.split_once('l').unwrap().1.split(' ').step_by(2);
        let sum: f64 = steps.map(|s| s.parse::<f64>().unwrap()).sum();
        assert!((sum - 3.33).abs() < 1e-9, "{sum}");
    }

    #[test]
    fn thinning_keeps_every_peak_and_both_ends() {
        // A needle of one point among a hundred thousand, up and another down.
        let points: Vec<Point> = (0..100_000)
            .map(|k| {
                let y = match k {
                    31_417 => 90.0,
                    77_777 => -90.0,
                    _ => f64::from(k % 7),
                };
                (f64::from(k) * 0.008, y)
            })
            .collect();
        let (first, last) = (points[0], points[99_999]);
        let kept = thinned(points.clone(), 0.5);
        assert!(kept.len() <= 4 * 1601, "{}", kept.len());
        assert!(kept.contains(&points[31_417]) && kept.contains(&points[77_777]));
        assert_eq!((kept[0], kept[kept.len() - 1]), (first, last));
        assert!(kept.windows(2).all(|w| w[0].0 <= w[1].0));
    }

    #[test]
    fn few_points_and_loops_stay() {
        // There and back: more points than columns, and the way back is kept as well.
        let there = (0..500).map(|k| (f64::from(k) * 0.1, 1.0));
        let back = (0..500).rev().map(|k| (f64::from(k) * 0.1, -1.0));
        let kept = thinned(there.chain(back).collect(), 0.5);
        assert!(kept.iter().any(|p| p.1 > 0.0) && kept.iter().filter(|p| p.1 < 0.0).count() > 90);
        assert_eq!(thinned(vec![(0.0, 1.0), (0.1, 2.0)], 5.0).len(), 2);
    }
}
