//! The simulated rig against closed forms, independent integrations and its own protocol.

mod anything;
mod blocks;
mod clock_faults;
mod common;
mod describe;
mod energy;
mod faults;
mod gear_and_hub;
mod kinds;
mod lugre;
mod mountings;
mod parameters;
mod playing;
mod protocol;
mod pty;
mod reference;
mod response;
mod safety;
mod unchanged;
mod warming;
