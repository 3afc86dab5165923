//! Time constants and what can be held.

use super::Rows;
use crate::RigParameters;
use crate::plant::{COPPER_PER_K, HeatParameters, PlantParameters};

/// Rise of the winding that is allowed where the firmware does not derate, K.
const ALLOWED_RISE_K: f64 = 90.0;

pub(super) fn rows(parameters: &RigParameters, rows: &mut Rows) {
    let plant = &parameters.plant;
    let [fast, slow] = time_constants_s(&plant.heat);
    let small = "two nodes at small currents: roots of the two heat balances";
    rows.add("heat_fast", "Heat, fast time constant", fast, "s", small);
    rows.add("heat_slow", "Heat, slow time constant", slow, "s", small);
    let (m, heat) = (&plant.motor, &plant.heat);
    let peak_a = plant.torque.peak_nm / m.rim_nm_per_a();
    let cold = m.resistance_ohm * (1.0 + COPPER_PER_K * (heat.ambient_degc - 20.0));
    let loss = m.loss_factor * peak_a * peak_a * cold;
    rows.add(
        "peak_current",
        "Current at the peak torque",
        peak_a,
        "A",
        "peak/(K_t · ratio · efficiency)",
    );
    rows.add(
        "peak_loss",
        "Copper loss there, cold",
        loss,
        "W",
        "loss_factor · i² · R(ambient)",
    );
    rows.add(
        "peak_warming",
        "Warming of the winding there, at first",
        loss / heat.winding_j_per_k,
        "K/s",
        "copper loss/heat.winding",
    );
    let (sustained, limit_degc) = sustained_nm(plant);
    rows.add(
        "sustained_torque",
        "Torque held for good",
        sustained,
        "N.m",
        format!(
            "winding at {limit_degc:.0} °C in the end ({}), hot copper, weakened flux",
            if plant.derating.is_some() {
                "where derating begins"
            } else {
                "90 K above air"
            }
        ),
    );
    let full =
        (m.voltage_limit_v - (cold + m.supply_resistance_ohm) * peak_a) / (m.back_emf_v_s_per_rad * m.ratio);
    rows.add(
        "full_torque_speed",
        "Full torque up to",
        full,
        "rad/s",
        "(voltage limit − R · peak current)/(K_e · ratio), cold",
    );
    rows.add(
        "no_load_speed",
        "No torque from",
        m.voltage_limit_v / (m.back_emf_v_s_per_rad * m.ratio),
        "rad/s",
        "voltage limit/(K_e · ratio)",
    );
}

/// Time constants of the two nodes at constant power, s: λ² + (a + b + c)·λ + a·c = 0 with a = 1/(R_wc·C_w),
/// b = 1/(R_wc·C_c), c = 1/(R_ca·C_c).
fn time_constants_s(heat: &HeatParameters) -> [f64; 2] {
    let a = 1.0 / (heat.winding_case_k_per_w * heat.winding_j_per_k);
    let b = 1.0 / (heat.winding_case_k_per_w * heat.case_j_per_k);
    let c = 1.0 / (heat.case_air_k_per_w * heat.case_j_per_k);
    let sum = a + b + c;
    let root = (sum * sum - 4.0 * a * c).max(0.0).sqrt();
    let fast = 0.5 * (sum + root);
    [1.0 / fast, fast / (a * c)]
}

/// Rim torque whose winding comes to the temperature where derating begins (or 90 K above air), N·m, and that
/// temperature, °C.
fn sustained_nm(plant: &PlantParameters) -> (f64, f64) {
    let (m, heat) = (&plant.motor, &plant.heat);
    let limit = plant
        .derating
        .map_or(heat.ambient_degc + ALLOWED_RISE_K, |derating| derating.from_degc);
    let rise = (limit - heat.ambient_degc).max(0.0);
    let through = rise / (heat.winding_case_k_per_w + heat.case_air_k_per_w);
    let hot = m.resistance_ohm * (1.0 + COPPER_PER_K * (limit - 20.0));
    let current = (through / (m.loss_factor * hot)).sqrt();
    let case = heat.ambient_degc + through * heat.case_air_k_per_w;
    let flux = 1.0 - m.flux_loss_per_k * (case - 20.0);
    (
        (current * m.rim_nm_per_a()).min(plant.torque.peak_nm) * flux,
        limit,
    )
}
