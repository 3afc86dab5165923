//! Kernel devices in a small emulated machine: force feedback through the input subsystem, and a serial port on USB, both
//! unplugged while they are used. `tools/prepare tests` fetches the emulator and a kernel; where either is missing the test says so and
//! is skipped.
#![cfg(all(target_os = "linux", target_arch = "x86_64"))]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods
)] // real time, and a test

use std::collections::BTreeSet;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Modules in the order in which they build on each other.
const MODULES: [&str; 13] = [
    "evdev",
    "uinput",
    "usb-common",
    "usbcore",
    "udc-core",
    "dummy_hcd",
    "cdc-acm",
    "configfs",
    "libcomposite",
    "u_serial",
    "usb_f_acm",
    "usb_f_serial",
    "g_serial",
];
const EMULATOR: &str = "qemu-system-x86_64";
/// Without instructions that move a string of bytes at once: here each byte of them is a step of its own.
const PROCESSOR: &str = "max,-erms,-fsrm";
/// What a kernel tries and prepares at its start costs an emulated processor seconds: its own ciphers' self-tests above all.
const KERNEL_ARGUMENTS: &str = "console=ttyS0 quiet panic=-1 mitigations=off cryptomgr.notests \
                                initcall_blacklist=crypto_kdf108_init,init_kprobe_trace";
/// Longest that the machine may take: it needs seconds, on a busy computer more.
const PATIENCE: Duration = Duration::from_secs(180);

/// An archive as the kernel unpacks it at start (newc; Documentation/driver-api/early-userspace/buffer-format.rst).
#[derive(Default)]
struct Archive {
    bytes: Vec<u8>,
    folders: BTreeSet<String>,
    number: u32,
}

impl Archive {
    fn entry(&mut self, name: &str, mode: u32, data: &[u8]) {
        self.number += 1;
        let length = u32::try_from(data.len()).unwrap();
        let name_length = u32::try_from(name.len() + 1).unwrap();
        let fields = [self.number, mode, 0, 0, 1, 0, length, 0, 0, 0, 0, name_length, 0];
        let header: String = fields.iter().map(|field| format!("{field:08x}")).collect();
        self.bytes
            .extend_from_slice(format!("070701{header}{name}\0").as_bytes());
        self.pad();
        self.bytes.extend_from_slice(data);
        self.pad();
    }

    fn pad(&mut self) {
        while !self.bytes.len().is_multiple_of(4) {
            self.bytes.push(0);
        }
    }

    /// A file with the folders above it.
    fn file(&mut self, path: &str, data: &[u8]) {
        let path = path.trim_start_matches('/');
        for (at, _) in path.match_indices('/') {
            self.folder(&path[..at]);
        }
        self.entry(path, 0o100_755, data);
    }

    fn folder(&mut self, path: &str) {
        if self.folders.insert(path.to_owned()) {
            self.entry(path, 0o040_755, &[]);
        }
    }

    fn finish(mut self) -> Vec<u8> {
        self.entry("TRAILER!!!", 0, &[]);
        self.bytes
    }
}

/// The libraries that a program is linked with, the loader among them.
fn libraries(program: &Path) -> Vec<PathBuf> {
    let output = Command::new("ldd").arg(program).output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.split_whitespace()
        .filter(|word| word.starts_with('/'))
        .map(PathBuf::from)
        .collect()
}

fn initial_files(kernel: &Path, folder: &Path) -> Vec<u8> {
    let mut archive = Archive::default();
    for place in ["proc", "sys", "dev", "tmp"] {
        archive.folder(place);
    }
    let program = Path::new(env!("CARGO_BIN_EXE_real-devices"));
    let small = folder.join("init");
    // Names of lines and symbols are most of it, and the machine has to load it.
    let stripped = Command::new("strip").arg("-o").arg(&small).arg(program).status();
    let init = if stripped.is_ok_and(|status| status.success()) {
        small
    } else {
        program.to_owned()
    };
    archive.file("init", &std::fs::read(init).unwrap());
    for library in libraries(program) {
        archive.file(library.to_str().unwrap(), &std::fs::read(&library).unwrap());
    }
    for module in MODULES {
        let name = format!("{module}.ko");
        archive.file(
            &format!("modules/{name}"),
            &std::fs::read(kernel.join(&name)).unwrap(),
        );
    }
    let order: String = MODULES.iter().map(|module| format!("{module}.ko\n")).collect();
    archive.file("modules/order", order.as_bytes());
    archive.finish()
}

fn skipped(why: &str) {
    println!("SKIPPED: {why}; `tools/prepare tests` fetches it on a system with apt");
}

#[test]
fn force_feedback_and_usb_serial_on_kernel_devices() {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..");
    let kernel = std::env::var_os("TRUERIM_TEST_KERNEL").map_or(root.join("target/kernel"), PathBuf::from);
    if Command::new(EMULATOR).arg("--version").output().is_err() {
        return skipped(&format!("no emulator ({EMULATOR}) here"));
    }
    if !kernel.join("vmlinuz").exists() {
        return skipped(&format!("no kernel in {}", kernel.display()));
    }
    let folder = tempfile::tempdir().unwrap();
    let initrd = folder.path().join("initrd");
    std::fs::write(&initrd, initial_files(&kernel, folder.path())).unwrap();
    let log = std::fs::File::create(folder.path().join("log")).unwrap();
    let mut machine = Command::new(EMULATOR)
        .arg("-kernel")
        .arg(super::plain_kernel::plain(kernel.join("vmlinuz"), folder.path()))
        .arg("-initrd")
        .arg(&initrd)
        .args([
            "-icount",
            "shift=2,sleep=off",
            "-accel",
            "tcg",
            "-cpu",
            PROCESSOR,
            "-m",
            "512",
            "-nographic",
            "-no-reboot",
            "-nic",
            "none",
        ])
        .args(["-append", KERNEL_ARGUMENTS])
        .stdin(Stdio::null())
        .stdout(log)
        .stderr(Stdio::inherit())
        .spawn()
        .unwrap();
    let began = Instant::now();
    while machine.try_wait().unwrap().is_none() && began.elapsed() < PATIENCE {
        std::thread::sleep(Duration::from_millis(50));
    }
    let in_time = machine.try_wait().unwrap().is_some();
    let _ = machine.kill();
    let _ = machine.wait();
    let mut said = String::new();
    let bytes = std::fs::read(folder.path().join("log")).unwrap();
    bytes.as_slice().read_to_string(&mut said).unwrap_or_else(|_| {
        said = String::from_utf8_lossy(&bytes).into_owned();
        0
    });
    println!("{said}\nin {:.1} s", began.elapsed().as_secs_f64());
    assert!(in_time, "the machine did not end within {PATIENCE:?}");
    assert!(
        said.contains("REAL DEVICES: ALL PASSED"),
        "a check failed; see above"
    );
}
