//! What stops the motor, in virtual time.

mod check_page;
mod fault_campaign;
mod interlock_diagram;
mod limits_table;
mod lockstep;
mod model_check;
mod safety_conditions;
mod safety_endings;
mod safety_limits;
mod safety_slow;
mod scripted_faults;
mod stopping;
