//! `[[virtual.faults]]`: scripted faults for tests of the safety functions.

use settings_file::{Angle, Quantity, Ratio, Section, Speed, TemperatureDifference, Time, Torque, Voltage};

use crate::faults::{Fault, FaultKind, KINDS, LATEST_START_S, SizeInfo, SizeQuantity, ticks};

/// Most faults in a file.
const MOST: usize = 32;

/// Reads the script; `tooth_rad` is what a belt slips by where no size is given.
pub(super) fn read(table: &Section<'_>, tooth_rad: Option<f64>) -> Vec<Fault> {
    let kinds = KINDS.map(|info| (info.word, info.kind));
    table
        .sections("faults", 0..=MOST)
        .iter()
        .map(|fault| {
            let kind = fault.choice("kind", &kinds).unwrap_or(FaultKind::Reboot);
            let start_s = fault.quantity::<Time>("start", 0.0..=LATEST_START_S);
            Fault {
                kind,
                start_tick: ticks(start_s),
                size: kind.info().size.map_or(0.0, |info| size(fault, &info, tooth_rad)),
            }
        })
        .collect()
}

fn size(fault: &Section<'_>, info: &SizeInfo, tooth_rad: Option<f64>) -> f64 {
    let tooth_rad = info.left_out.and(tooth_rad);
    match info.quantity {
        SizeQuantity::Torque => of::<Torque>(fault, info, tooth_rad),
        SizeQuantity::Angle => of::<Angle>(fault, info, tooth_rad),
        SizeQuantity::Speed => of::<Speed>(fault, info, tooth_rad),
        SizeQuantity::Voltage => of::<Voltage>(fault, info, tooth_rad),
        SizeQuantity::Share => of::<Ratio>(fault, info, tooth_rad),
        SizeQuantity::Time => of::<Time>(fault, info, tooth_rad),
        SizeQuantity::Kelvin => of::<TemperatureDifference>(fault, info, tooth_rad),
    }
}

fn of<Q: Quantity>(fault: &Section<'_>, info: &SizeInfo, left_out: Option<f64>) -> f64 {
    let [low, high] = info.range;
    match left_out {
        Some(default) => fault.quantity_or::<Q>("size", low..=high, default),
        None => fault.quantity::<Q>("size", low..=high),
    }
}
