//! Torque over the angle, both directions, and the spectrum of what they share.

use std::f64::consts::TAU;

use truerim_analysis::cogging::{AngleGrid, Track as Turned, order_spectrum, resample};

use super::micro;
use super::orders::POINTS;
use crate::fitting::drivetrain_curves::{CoggingCurve, OrderMark};

/// How far beyond the highest order that stands out the spectrum is kept, and the highest order kept at least.
const BEYOND: f64 = 1.25;
const LEAST_HIGHEST: f64 = 50.0;

/// The curve over the angles that both directions cover, at most one turn of them; `None` where they cover nothing.
pub(super) fn of(turned: &[Turned; 2], speed: f64, lines: Vec<OrderMark>) -> Option<CoggingCurve> {
    let (up, down) = (
        resample(&turned[0], POINTS).ok()?,
        resample(&turned[1], POINTS).ok()?,
    );
    let step = TAU / POINTS as f64;
    // Grids begin at whole numbers of points from zero.
    let first = |grid: &AngleGrid| (grid.first_rad / step).round() as i64;
    let from = first(&up).max(first(&down));
    let part = |grid: &AngleGrid| -> Option<Vec<f64>> {
        let skipped = usize::try_from(from - first(grid)).ok()?;
        // The sensor reads what the wheelbase does to the drive: what turns the wheelbase is its negative.
        Some(grid.torque_nm.get(skipped..)?.iter().map(|nm| -nm).collect())
    };
    let (mut up, mut down) = (part(&up)?, part(&down)?);
    let count = up.len().min(down.len());
    up.truncate(count);
    down.truncate(count);
    let even = AngleGrid {
        points_per_turn: POINTS,
        first_rad: from as f64 * step,
        torque_nm: up.iter().zip(&down).map(|(a, b)| 0.5 * (a + b)).collect(),
    };
    let highest = lines.iter().map(|line| line.order).fold(LEAST_HIGHEST, f64::max) * BEYOND;
    let (order, amplitude_nm) = order_spectrum(&even, true).map_or_else(
        |_| (Vec::new(), Vec::new()),
        |spectrum| {
            let rows = spectrum.order.iter().zip(&spectrum.amplitude_nm);
            rows.filter(|(order, _)| **order > 0.0 && **order <= highest)
                .map(|(order, nm)| (micro(*order), micro(*nm)))
                .unzip()
        },
    );
    let shown = count.min(POINTS + 1);
    (shown > 1).then(|| CoggingCurve {
        speed_rad_s: speed,
        angle_rad: (0..shown).map(|i| micro(even.angle_rad(i))).collect(),
        positive_nm: up.iter().take(shown).copied().map(micro).collect(),
        negative_nm: down.iter().take(shown).copied().map(micro).collect(),
        order,
        amplitude_nm,
        lines,
        ..CoggingCurve::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1.6 turns one way from an angle.
    fn turned(direction: f64, from: f64, friction: f64) -> Turned {
        let angle_rad: Vec<f64> = (0..30_000)
            .map(|i| from + direction * 1.6 * TAU * f64::from(i) / 30_000.0)
            .collect();
        let sensor = |a: &f64| -(0.03 * (90.0 * a).cos() + direction * friction);
        Turned {
            torque_nm: angle_rad.iter().map(sensor).collect(),
            angle_rad,
            direction,
            speed_rad_s: 0.2,
        }
    }

    #[test]
    fn both_directions_lie_over_one_another_and_friction_is_not_in_the_spectrum() {
        let both = [turned(1.0, 0.0, 0.25), turned(-1.0, 2.1 * TAU, 0.25)];
        let mark = OrderMark {
            order: 90.0,
            ..OrderMark::default()
        };
        let curve = of(&both, 0.2, vec![mark]).unwrap();
        // Angles that both cover: from half a turn to 1.6.
        assert!((curve.angle_rad[0] - 0.5 * TAU).abs() < 0.01);
        assert!(curve.angle_rad.len() > 4000);
        for i in 0..curve.angle_rad.len() {
            let cogging = 0.03 * (90.0 * curve.angle_rad[i]).cos();
            assert!((curve.positive_nm[i] - cogging - 0.25).abs() < 2e-4, "{i}");
            assert!((curve.negative_nm[i] - cogging + 0.25).abs() < 2e-4, "{i}");
        }
        let top =
            (0..curve.order.len()).max_by(|a, b| curve.amplitude_nm[*a].total_cmp(&curve.amplitude_nm[*b]));
        let top = top.unwrap();
        assert!((curve.order[top] - 90.0).abs() < 0.01 && (curve.amplitude_nm[top] - 0.03).abs() < 1e-3);
        assert!(curve.order.iter().all(|order| *order <= 112.5));
    }

    #[test]
    fn directions_that_meet_nowhere_make_no_curve() {
        let both = [turned(1.0, 0.0, 0.2), turned(-1.0, 9.0 * TAU, 0.2)];
        assert!(of(&both, 0.2, Vec::new()).is_none());
    }
}
