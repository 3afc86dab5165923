//! A serial port on USB.

use std::os::fd::OwnedFd;
use std::path::Path;

use rustix::fs::{Mode, OFlags};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use truerim::drive::{Line, SerialLine};

use crate::machine::wait_for;

const HOST: &str = "/dev/ttyACM0";
const GADGET: &str = "/dev/ttyGS0";

pub(crate) fn checks() {
    for node in [HOST, GADGET] {
        wait_for(node, || Path::new(node).exists().then_some(()));
    }
    let gadget = rustix::fs::open(GADGET, OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).unwrap();
    let mut settings = tcgetattr(&gadget).unwrap();
    settings.make_raw();
    tcsetattr(&gadget, OptionalActions::Now, &settings).unwrap();
    std::thread::spawn(move || echo(&gadget));
    let mut line = SerialLine::open(HOST, 115_200).unwrap();
    let mut inbox = Vec::new();
    for number in 0..200_u8 {
        let sent = [number, 0, 255, 10, 13, 3, 17, 19];
        inbox.clear();
        line.write(&sent, false).unwrap();
        wait_for("an echo", || {
            let until = line.now().plus_us(5_000);
            line.wait(until, &mut inbox).unwrap();
            (inbox.len() >= sent.len()).then_some(())
        });
        assert_eq!(inbox, sent);
    }
    println!("ok: 200 messages there and back over a USB serial pair");
    listed();
    std::fs::write("/sys/class/udc/dummy_udc.0/soft_connect", "disconnect").unwrap();
    let began = line.now();
    let error = wait_for("an error", || {
        let until = line.now().plus_us(5_000);
        inbox.clear();
        line.wait(until, &mut inbox).err()
    });
    println!(
        "ok: a cable pulled is an error after {} ms: {error}",
        line.now().us_since(began) / 1_000
    );
}

/// The port is listed as what it is.
fn listed() {
    let ports = truerim::drive::ports::list();
    let port = ports
        .iter()
        .find(|port| port.path == Path::new(HOST))
        .unwrap_or_else(|| panic!("{ports:?}"));
    let usb = port.usb.as_ref().unwrap_or_else(|| panic!("{port:?}"));
    // Of the kernel's serial gadget (drivers/usb/gadget/legacy/serial.c).
    assert_eq!((usb.vendor, usb.product), (0x0525, 0xa4a7), "{port:?}");
    assert_eq!(port.latency_timer_ms(), None);
    println!("ok: listed as {port}");
}

fn echo(gadget: &OwnedFd) {
    let mut chunk = [0; 256];
    while let Ok(length @ 1..) = rustix::io::read(gadget, &mut chunk) {
        let mut left = &chunk[..length];
        while !left.is_empty() {
            let Ok(written) = rustix::io::write(gadget, left) else {
                return;
            };
            left = &left[written..];
        }
    }
}
