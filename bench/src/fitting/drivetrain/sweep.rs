//! Friction over speed: a pair of turns each, and the curve through them.

use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome};
use truerim_analysis::friction::{
    DragPoint, PairedDrag, StribeckFit, StribeckModel, StribeckOptions, fit_stribeck, paired_drag, points_of,
};

use super::legs::Pair;
use super::ringing;
use super::{One, micro};
use crate::fitting::document::Quantity;
use crate::fitting::drivetrain_curves::FrictionCurve;
use crate::fitting::groups::with_checks;
use crate::fitting::motion::{scale, track::Track};
use crate::fitting::reading::plain;
use crate::fitting::sensor::SensorTerms;
use crate::recording::Declared;

/// Speeds at which the fitted curve is drawn.
const DRAWN: usize = 160;
/// How far below the slowest speed it is drawn.
const BELOW: f64 = 0.5;
/// Coverage factor of the bars: 95 % of a normal error.
const K95: f64 = 1.96;

/// What a sweep says.
pub(super) struct Swept {
    /// Its results.
    pub(super) found: Vec<One>,
    /// The pairs, for what else depends on them.
    pub(super) pairs: Vec<PairedDrag>,
    /// Its curve.
    pub(super) curve: Option<FrictionCurve>,
}

/// Drag at each speed, and Coulomb, viscous and breakaway friction from all.
pub(super) fn of(track: &Track, pairs: &[Pair], declared: &Declared, sensor: &SensorTerms) -> Swept {
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
    let points = points_of(taken_out.as_deref().unwrap_or(&curve));
    let fit = fit_stribeck(&points, &options);
    let drawn = drawn(&curve, &points, fit.as_ref().ok().map(|fit| &fit.model));
    found.extend(all(&fit.map_err(Outcome::from), &known));
    Swept {
        found,
        pairs: curve,
        curve: drawn,
    }
}

/// A pair and its two points.
type Both<'a> = (&'a PairedDrag, &'a [DragPoint]);

/// The points, two a pair as [`points_of`] gives them, and the curve through them.
fn drawn(pairs: &[PairedDrag], points: &[DragPoint], model: Option<&StribeckModel>) -> Option<FrictionCurve> {
    let both: Vec<Both<'_>> = pairs.iter().zip(points.chunks_exact(2)).collect();
    let (slowest, fastest) = (both.first()?.0.speed_rad_s, both.last()?.0.speed_rad_s);
    let of =
        |pick: &dyn Fn(&Both<'_>) -> f64| -> Vec<f64> { both.iter().map(|one| micro(pick(one))).collect() };
    let speeds: Vec<f64> = match model {
        Some(_) => (0..=DRAWN)
            .map(|i| BELOW * slowest * (fastest / slowest / BELOW).powf(i as f64 / DRAWN as f64))
            .collect(),
        None => Vec::new(),
    };
    let along = |sign: f64| -> Vec<f64> {
        let model = model.iter();
        model
            .flat_map(|model| speeds.iter().map(move |v| micro(model.torque_nm(sign * v))))
            .collect()
    };
    Some(FrictionCurve {
        speed_rad_s: of(&|(pair, _)| pair.speed_rad_s),
        positive_nm: of(&|(_, sides)| sides[0].torque_nm),
        negative_nm: of(&|(_, sides)| sides[1].torque_nm),
        band_nm: of(&|(_, sides)| K95 * sides[0].u_nm),
        as_measured_nm: of(&|(pair, _)| pair.friction_nm),
        model_positive_nm: along(1.0),
        model_negative_nm: along(-1.0),
        model_rad_s: speeds.into_iter().map(micro).collect(),
        ..FrictionCurve::default()
    })
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
