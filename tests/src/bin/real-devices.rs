//! The first process of a small virtual machine: kernel devices that a test may unplug. `tests/tests/files/real_devices.rs` starts it.
//!
//! A virtual wheelbase through the kernel's uinput stands for one on USB, and a pair of USB serial gadgets on the kernel's dummy host
//! controller for a rig controller on a cable. The program itself runs in there as processes of their own. Each check prints a line; the last line says whether all passed.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods
)] // a test in real time

#[cfg(target_os = "linux")]
#[path = "real-devices/machine.rs"]
mod machine;

#[cfg(target_os = "linux")]
#[path = "real-devices/wheel.rs"]
mod wheel;

#[cfg(target_os = "linux")]
#[path = "real-devices/cable.rs"]
mod cable;

#[cfg(target_os = "linux")]
#[path = "real-devices/base.rs"]
mod base;

#[cfg(target_os = "linux")]
#[path = "real-devices/program.rs"]
mod program;

#[cfg(target_os = "linux")]
fn main() -> std::process::ExitCode {
    let args: Vec<String> = std::env::args().collect();
    match args.get(1).map(String::as_str) {
        Some("hold") => wheel::hold(&args[2], false),
        Some("panic") => wheel::hold(&args[2], true),
        Some(command) if program::COMMANDS.contains(&command) => return truerim::cli::main(),
        // Mounting and unplugging are for the machine that it was made for.
        _ if std::process::id() != 1 => {
            println!("the first process of a machine only; see tests/tests/files/real_devices.rs")
        }
        _ => {
            machine::begin();
            wheel::checks();
            base::checks();
            cable::checks();
            println!("REAL DEVICES: ALL PASSED");
            machine::power_off();
        }
    }
    std::process::ExitCode::SUCCESS
}

#[cfg(not(target_os = "linux"))]
fn main() {
    println!("only on Linux");
}
