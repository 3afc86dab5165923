//! What an init does: file systems, modules, and the end.

use std::ffi::CString;
use std::fs::File;
use std::time::{Duration, Instant};

use rustix::mount::MountFlags;

/// Mounts what the checks look at and loads the modules in the order in which the test listed them.
pub(crate) fn begin() {
    for (kind, place) in [("proc", "/proc"), ("sysfs", "/sys"), ("devtmpfs", "/dev")] {
        let none = None::<&std::ffi::CStr>;
        rustix::mount::mount(kind, place, kind, MountFlags::empty(), none).unwrap();
    }
    let _ = std::fs::create_dir("/dev/pts");
    let none = None::<&std::ffi::CStr>;
    rustix::mount::mount("devpts", "/dev/pts", "devpts", MountFlags::empty(), none).unwrap();
    for name in std::fs::read_to_string("/modules/order").unwrap().lines() {
        let module = File::open(format!("/modules/{name}")).unwrap();
        let none = CString::default();
        if let Err(errno) = rustix::system::finit_module(&module, &none, 0) {
            assert_eq!(errno, rustix::io::Errno::EXIST, "{name}");
        }
    }
}

/// Unloads a module and loads it again.
pub(crate) fn load_again(name: &str) {
    let own = CString::new(name).unwrap();
    // No more than a process that is about to close it may still use it.
    wait_for("unused module", || rustix::system::delete_module(&own, 0).ok());
    let module = File::open(format!("/modules/{name}.ko")).unwrap();
    rustix::system::finit_module(&module, &CString::default(), 0).unwrap();
}

pub(crate) fn power_off() {
    let _ = rustix::system::reboot(rustix::system::RebootCommand::PowerOff);
}

/// Waits for something that another thread or the kernel does.
pub(crate) fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let began = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(began.elapsed() < Duration::from_secs(10), "no {what}");
        std::thread::sleep(Duration::from_millis(2));
    }
}
