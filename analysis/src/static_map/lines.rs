//! Straight lines that deviations are counted from.

/// `torque = offset + slope · command`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Torque at zero command.
    pub offset: f64,
    /// Torque by command.
    pub slope: f64,
    /// Largest distance of a point from it.
    pub worst: f64,
}

impl Line {
    fn of(offset: f64, slope: f64, points: &[(f64, f64)]) -> Self {
        let distance = |(x, y): &(f64, f64)| (y - offset - slope * x).abs();
        Self {
            offset,
            slope,
            worst: points.iter().map(distance).fold(0.0, f64::max),
        }
    }
}

/// The line whose largest distance is least, `None` below two commands. Its slope is that of an edge of the convex hull (the
/// largest distance is convex in the slope, with corners there alone), so every pair of points is tried.
pub fn straightest(points: &[(f64, f64)]) -> Option<Line> {
    let mut best: Option<Line> = None;
    for (i, a) in points.iter().enumerate() {
        for b in points.iter().skip(i + 1).filter(|b| (b.0 - a.0).abs() > 0.0) {
            let slope = (b.1 - a.1) / (b.0 - a.0);
            let rest = points.iter().map(|(x, y)| y - slope * x);
            let (low, high) = rest.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), r| {
                (l.min(r), h.max(r))
            });
            let line = Line::of(0.5 * (low + high), slope, points);
            if best.is_none_or(|known| line.worst < known.worst) {
                best = Some(line);
            }
        }
    }
    best
}

/// The line through the first and the last point; `None` below two commands.
pub fn through_ends(points: &[(f64, f64)]) -> Option<Line> {
    let (a, b) = (points.first()?, points.last()?);
    let slope = (b.1 - a.1) / (b.0 - a.0);
    slope
        .is_finite()
        .then(|| Line::of(a.1 - slope * a.0, slope, points))
}

/// The line through the torque at zero command whose largest distance is least; `None` without a point at zero, or without
/// another. The distance is convex in the slope: a search by thirds.
pub fn through_zero(points: &[(f64, f64)]) -> Option<Line> {
    let zero = points.iter().find(|p| p.0.abs() < 1e-9)?.1;
    let slopes = points
        .iter()
        .filter(|p| p.0.abs() >= 1e-9)
        .map(|p| (p.1 - zero) / p.0);
    let (mut low, mut high) = slopes.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), s| {
        (l.min(s), h.max(s))
    });
    if !(low.is_finite() && high.is_finite()) {
        return None;
    }
    for _ in 0..200 {
        let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if Line::of(zero, a, points).worst <= Line::of(zero, b, points).worst {
            high = b;
        } else {
            low = a;
        }
    }
    Some(Line::of(zero, 0.5 * (low + high), points))
}
