//! `trace`: steering torque of a car, computed, as CSV.

use std::fmt::Write as _;

use vehicle::drive::{Drive, Moment};
use vehicle::kerb::Kerb;
use vehicle::{car::Car, kerb::Shape, manoeuvre::Manoeuvre, road::Class};

use super::args::{KerbArg, ManoeuvreArg, TraceArgs};
use super::exit::{Exit, Problem};
use super::say::Say;

/// Km/h in a m/s.
const KM_PER_H: f64 = 3.6;

/// Computes a trace and writes it.
pub(super) fn trace(args: &TraceArgs, say: &Say) -> Result<Exit, Problem> {
    let usage = |problem: &dyn std::fmt::Display| Problem::Usage(problem.to_string());
    let drive = Drive {
        car: Car::SALOON,
        manoeuvre: match args.manoeuvre {
            ManoeuvreArg::CornerToLimit => Manoeuvre::CornerToLimit,
            ManoeuvreArg::SlideAndCatch => Manoeuvre::SlideAndCatch,
            ManoeuvreArg::Straight => Manoeuvre::Straight,
            ManoeuvreArg::KerbStrike => Manoeuvre::KerbStrike,
        },
        speed_m_per_s: args.speed / KM_PER_H,
        road: args
            .road
            .map(|letter| class(letter).ok_or(letter))
            .transpose()
            .map_err(|letter| {
                usage(&format!(
                    "--road {letter}: a class of ISO 8608 is a letter from A to H"
                ))
            })?,
        kerb: Kerb {
            shape: match args.kerb {
                KerbArg::Round => Shape::Round,
                KerbArg::Flat => Shape::Flat,
                KerbArg::Saw => Shape::Saw,
            },
            height_m: 1e-3 * args.kerb_height,
            length_m: args.kerb_length,
            spacing_m: args.kerb_spacing,
            teeth: args.kerb_teeth,
        },
        seed: args.seed,
        rate_hz: args.rate,
    };
    let mut moments = drive.moments().map_err(|error| usage(&error))?;
    let peak_nm = moments.iter().map(|m| m.torque_nm.abs()).fold(0.0, f64::max);
    if let Some(wanted_nm) = args.peak_torque {
        if !(wanted_nm.is_finite() && wanted_nm > 0.0) {
            return Err(usage(&format!("--peak-torque {wanted_nm}: above 0 N·m")));
        }
        if peak_nm <= 0.0 {
            let problem =
                "this drive has no torque to bring to a peak: add a --road or choose another manoeuvre";
            return Err(usage(&problem));
        }
    }
    let scale = args.peak_torque.map_or(1.0, |wanted_nm| wanted_nm / peak_nm);
    for moment in &mut moments {
        moment.torque_nm *= scale;
    }
    let text = csv(&head(args, &drive, scale), &moments);
    std::fs::write(&args.out, text).map_err(|source| Problem::Io {
        doing: "write",
        path: args.out.display().to_string(),
        source,
    })?;
    let greatest_nm = scale * peak_nm;
    say.result(&format!(
        "{}: {} moments over {} s, up to {greatest_nm:.2} N·m at the rim",
        args.out.display(),
        moments.len(),
        drive.manoeuvre.duration_s()
    ));
    say.json(&serde_json::json!({
        "path": args.out.display().to_string(),
        "rows": moments.len(),
        "duration_s": drive.manoeuvre.duration_s(),
        "peak_nm": greatest_nm,
        "scale": scale,
    }));
    Ok(Exit::Done)
}

fn class(letter: char) -> Option<Class> {
    let letter = letter.to_ascii_uppercase();
    Class::ALL.into_iter().find(|class| class.letter() == letter)
}

/// What the trace was computed from, as comments.
fn head(args: &TraceArgs, drive: &Drive, scale: f64) -> String {
    let Car {
        mass_kg,
        yaw_inertia_kg_m2,
        to_front_m,
        to_rear_m,
        front,
        rear,
        relaxation_m,
        friction,
        steering,
        corner,
    } = drive.car;
    let mut text = format!(
        "# Steering torque, computed by {} {}. No recording of a car.\n\
         # Model: single track with brush tyres and slip that lags, steering geometry without assistance.\n\
         # Manoeuvre {}, {} km/h, road {}, seed {}.\n\
         # Car: {mass_kg} kg, {yaw_inertia_kg_m2} kg m2, axles {to_front_m} m ahead and {to_rear_m} m behind, friction {friction}.\n\
         # Tyres by axle: {} and {} N/rad, contact {} m, relaxation {relaxation_m} m.\n\
         # Steering: ratio {}, caster {} rad, inclination {} rad, scrub {} m, tyre radius {} m.\n\
         # Front corner: {} and {} kg, {} N/m, {} N s/m, tyre {} N/m.\n",
        crate::software().name,
        crate::software().version,
        args.manoeuvre.word(),
        args.speed,
        drive.road.map_or("smooth".to_owned(), |class| format!(
            "of class {}",
            class.letter()
        )),
        drive.seed,
        front.cornering_stiffness_n_per_rad,
        rear.cornering_stiffness_n_per_rad,
        2.0 * front.half_contact_m,
        steering.ratio,
        steering.caster_rad,
        steering.inclination_rad,
        steering.scrub_m,
        steering.tyre_radius_m,
        corner.sprung_kg,
        corner.unsprung_kg,
        corner.spring_n_per_m,
        corner.damper_n_s_per_m,
        corner.tyre_n_per_m,
    );
    if drive.manoeuvre == Manoeuvre::KerbStrike {
        let Kerb {
            height_m,
            length_m,
            spacing_m,
            teeth,
            ..
        } = drive.kerb;
        text += &format!(
            "# Kerb: {teeth} {} teeth {height_m} m high, {length_m} m long, one every {spacing_m} m.\n",
            args.kerb.word()
        );
    }
    text + &format!(
        "# Torque times {scale:.6} of the car's. Signs: clockwise and to the right are positive.\n\
         # time in s, rim_torque in N m, rim_angle and slip_angle in rad, side_force and load of the front axle in N,\n\
         # pneumatic_trail in m.\n"
    )
}

fn csv(head: &str, moments: &[Moment]) -> String {
    let mut text = format!("{head}time,rim_torque,rim_angle,slip_angle,side_force,load,pneumatic_trail\n");
    for m in moments {
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "{:.5},{:.5},{:.4},{:.5},{:.0},{:.0},{:.5}",
            m.t_s, m.torque_nm, m.rim_rad, m.slip_rad, m.side_n, m.load_n, m.trail_m
        );
    }
    text
}
