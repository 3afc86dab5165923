//! Files read, plans made of them, and what they excite.

mod common;
mod driver_excitations;
mod excitation_spectra;
mod invalid_excitations;
mod invalid_procedures;
mod invalid_rigs;
mod multisines;
mod plan_properties;
mod roles;
mod shipped_files;
mod time_base;
