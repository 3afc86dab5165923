//! Friction over speed: a pair of turns each, and the curve through them.

use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome};
use truerim_analysis::friction::{
    PairedDrag, StribeckFit, StribeckOptions, fit_stribeck, paired_drag, points_of,
};

use super::One;
use super::legs::Pair;
use super::ringing;
use crate::fitting::document::Quantity;
use crate::fitting::groups::with_checks;
use crate::fitting::motion::{scale, track::Track};
use crate::fitting::reading::plain;
use crate::fitting::sensor::SensorTerms;
use crate::recording::Declared;

/// Drag at each speed, and Coulomb, viscous and breakaway friction from all; and the pairs, for what else depends on them.
pub(super) fn of(
    track: &Track,
    pairs: &[Pair],
    declared: &Declared,
    sensor: &SensorTerms,
) -> (Vec<One>, Vec<PairedDrag>) {
    // The sensor reads what the wheelbase does to the drive: what turns the wheelbase is its negative.
    let effort: Vec<f64> = track.torque_nm.iter().map(|nm| -nm).collect();
    let mut found = Vec::new();
    let mut curve = Vec::new();
    for pair in pairs {
        let (up, down) = (
            Pair::turn(track, &pair.up, &effort),
            Pair::turn(track, &pair.down, &effort),
        );
        let drag = paired_drag(&up, &down);
        let group = format!(
            "{} rad/s over {}°",
            plain(pair.speed, 2),
            plain(pair.travel.to_degrees(), 2)
        );
        let result: Outcome = match &drag {
            Ok(drag) => point(drag, sensor),
            Err(refusal) => refusal.clone().into(),
        };
        found.push(One::of(Quantity::DragAtSpeed, &group, result));
        curve.extend(drag.ok().map(|drag| (pair, drag)));
    }
    let options = StribeckOptions {
        torque: scale(sensor),
        ..StribeckOptions::default()
    };
    let taken_out = ringing::taken_out(track, &curve, declared);
    let known = known(taken_out.as_deref(), &curve);
    let curve: Vec<PairedDrag> = curve.into_iter().map(|(_, drag)| drag).collect();
    let fit = fit_stribeck(&points_of(taken_out.as_deref().unwrap_or(&curve)), &options);
    found.extend(all(&fit.map_err(Outcome::from), &known));
    (found, curve)
}

/// Whether what ringing costs was taken out of the curve.
fn known(taken_out: Option<&[PairedDrag]>, curve: &[(&Pair, PairedDrag)]) -> Check {
    let most = taken_out.map(|out| {
        let lost = out
            .iter()
            .zip(curve)
            .map(|(less, (_, drag))| drag.friction_nm - less.friction_nm);
        lost.fold(0.0_f64, |most, nm| if nm.abs() > most.abs() { nm } else { most })
    });
    Check::new(
        "drag of ripple that rings is known",
        most.is_some(),
        match most {
            Some(nm) => format!("up to {:.2} mN·m, taken out of the curve", 1e3 * nm),
            None => "the wheelbase's own angle, its ratio and a whole turn to and fro are needed; viscous friction may read high"
                .to_owned(),
        },
    )
}

fn point(drag: &PairedDrag, sensor: &SensorTerms) -> Outcome {
    let budget = vec![
        Contribution::type_a("scatter over the angle, and ripple", drag.u_nm, 15.0),
        Contribution::type_b("torque gain", drag.friction_nm.abs() * sensor.gain_rel_u),
    ];
    let method = "half the difference of both directions over the same angles";
    Estimate::from_budget(drag.friction_nm, "N.m", 2, method, budget).into()
}

/// One result of the curve.
type Pick = fn(&StribeckFit) -> &Outcome;

/// Every result of the curve, or the same refusal in place of all.
fn all(fit: &Result<StribeckFit, Outcome>, known: &Check) -> Vec<One> {
    let pick: [(Quantity, Pick); 6] = [
        (Quantity::SweepCoulomb, |fit| &fit.coulomb),
        (Quantity::SweepViscous, |fit| &fit.viscous),
        (Quantity::Breakaway, |fit| &fit.breakaway),
        (Quantity::BreakawayPositive, |fit| &fit.breakaway_positive),
        (Quantity::BreakawayNegative, |fit| &fit.breakaway_negative),
        (Quantity::StribeckSpeed, |fit| &fit.stribeck_speed),
    ];
    pick.into_iter()
        .map(|(quantity, of)| match fit {
            Ok(fit) => {
                let checks = fit.checks.iter().chain([known]).cloned();
                One::alone(quantity, with_checks(of(fit).clone(), checks))
            }
            Err(refused) => One::alone(quantity, refused.clone()),
        })
        .collect()
}
