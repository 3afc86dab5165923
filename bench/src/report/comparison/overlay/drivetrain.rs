//! Slow loops with a belt's knee, friction over speed, and cogging of all groups.

use super::{Chart, Frame, Mark, Series, all, conditions};
use crate::compare::Group;
use crate::fitting::{Measurand, Quantity};

pub(super) fn loops(groups: &[Group]) -> Chart {
    let (mut whole, mut stiffness, mut marks) = (Vec::new(), Vec::new(), Vec::new());
    for (group, document) in all(groups) {
        let Some(c) = &document.curves.loops else { continue };
        // Where the rotor stands against the rim is another at every clamping: loops are laid over one another at their middle.
        let middle = c.middle_rad.unwrap_or(0.0);
        let degrees = c.twist_rad.iter().map(|a| (a - middle).to_degrees()).collect();
        whole.push(Series::new(group, degrees, c.torque_nm.clone()));
        let of = |k: usize| -> Vec<f64> { c.stiffness.iter().map(|s| s[k]).collect() };
        stiffness.push(Series::new(group, c.at_nm.clone(), of(1)).with_band(of(0), of(2)));
        let knee = document
            .headline(Quantity::BeltKnee)
            .and_then(Measurand::estimate);
        marks.extend(knee.map(|e| Mark {
            group,
            at: e.value,
            interval: e.interval,
        }));
    }
    let by_torque = Frame::new("torque either way, N·m", "Stiffness, N·m/rad", stiffness);
    Chart {
        name: "loops",
        title: "Slow loops of the drivetrain",
        reading: "Torque over the twist between rotor and rim, laid over one another at their middle; and stiffness by torque with its \
                  95 % interval. Upright: the knee from which a belt's slack span carries nothing, where there is one. A slacker belt \
                  has it at less torque.",
        conditions: conditions(groups, "slow loop", |d| {
            d.curves.loops.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![
            Frame::new("twist from the middle, °", "Torque, N·m", whole),
            Frame {
                marks,
                ..by_torque.holding(vec![0.0])
            },
        ],
    }
}

pub(super) fn stops(groups: &[Group]) -> Chart {
    let frame = |which: &str| {
        let mut series = Vec::new();
        for (group, document) in all(groups) {
            let own = document.curves.stops.iter().find(|c| c.group == which);
            series.extend(own.map(|c| {
                let degrees = c.angle_rad.iter().map(|a| a.to_degrees()).collect();
                Series::new(group, degrees, c.torque_nm.clone())
            }));
        }
        Frame::new("angle of the rim, °", format!("Torque, N·m: {which}"), series)
    };
    Chart {
        name: "stops",
        title: "End stops",
        reading: "Torque that presses the free rim onto each stop, slowly up and down; what lies between both ways is friction.",
        conditions: conditions(groups, "press", |d| d.curves.stops.first().map(|c| &c.conditions)),
        frames: vec![frame("negative stop"), frame("positive stop")],
    }
}

pub(super) fn friction(groups: &[Group]) -> Chart {
    let (mut fitted, mut points) = (Vec::new(), Vec::new());
    for (group, document) in all(groups) {
        let Some(c) = &document.curves.friction else {
            continue;
        };
        let half = |up: &[f64], down: &[f64]| -> Vec<f64> {
            up.iter().zip(down).map(|(a, b)| 0.5 * (a - b)).collect()
        };
        let model = half(&c.model_positive_nm, &c.model_negative_nm);
        fitted.push(Series::new(group, c.model_rad_s.clone(), model));
        let mean = half(&c.positive_nm, &c.negative_nm);
        let end = |sign: f64| mean.iter().zip(&c.band_nm).map(|(nm, u)| nm + sign * u).collect();
        let (low, high) = (end(-1.0), end(1.0));
        points.push(Series::new(group, c.speed_rad_s.clone(), mean).with_band(low, high));
    }
    let frame = Frame {
        points,
        ..Frame::new("speed either way, rad/s", "Friction, N·m", fitted).logarithmic()
    };
    Chart {
        name: "friction",
        title: "Friction over speed",
        reading: "Mean of both ways with its 95 % interval, and the curve fitted to it.",
        conditions: conditions(groups, "turn", |d| {
            d.curves.friction.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![frame],
    }
}

pub(super) fn cogging(groups: &[Group]) -> Chart {
    let (mut over_angle, mut orders, mut lines) = (Vec::new(), Vec::new(), Vec::new());
    for (group, document) in all(groups) {
        let Some(c) = &document.curves.cogging else {
            continue;
        };
        let shared = c.positive_nm.iter().zip(&c.negative_nm);
        let shared = shared.map(|(a, b)| 500.0 * (a + b)).collect();
        let degrees = c.angle_rad.iter().map(|a| a.to_degrees()).collect();
        over_angle.push(Series::new(group, degrees, shared));
        let milli = |nm: &f64| 1e3 * nm;
        let spectrum = c.amplitude_nm.iter().map(milli).collect();
        orders.push(Series::new(group, c.order.clone(), spectrum));
        let of = |k: usize| -> Vec<f64> { c.lines.iter().map(|l| 1e3 * l.amplitude_nm[k]).collect() };
        let at = c.lines.iter().map(|l| l.order).collect();
        lines.push(Series::new(group, at, of(1)).with_band(of(0), of(2)));
    }
    let spectrum = Frame {
        points: lines,
        ..Frame::new("order, periods a turn of the rim", "Amplitude, mN·m", orders).logarithmic()
    };
    Chart {
        name: "cogging",
        title: "Torque over the angle",
        reading: "Half the sum of both ways, in which friction cancels, and its orders; marks are the orders that stand out, with their \
                  95 % intervals.",
        conditions: conditions(groups, "turn", |d| {
            d.curves.cogging.as_ref().map(|c| &c.conditions)
        }),
        frames: vec![
            Frame::new(
                "angle of the rim, °",
                "Half the sum of both ways, mN·m",
                over_angle,
            ),
            spectrum.holding(vec![0.0]),
        ],
    }
}
