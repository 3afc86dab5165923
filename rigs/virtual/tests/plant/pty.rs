//! The rig on a pseudo-terminal: opened, closed, opened again, stopped. No time is asserted: a shared machine may be
//! slow; bounds on time are tested in virtual time.

#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use std::io::{Read, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::channel;
use std::time::Duration;

use rig_link::message::{Empty, Hello};
use rig_link::{HostMessage, MAX_FRAME, RigMessage, Splitter, encode_host};
use virtual_rig::VirtualRig;

struct Port {
    port: serialport::TTYPort,
    splitter: Splitter,
}

impl Port {
    fn open(path: &str) -> Self {
        let port = serialport::new(path, 921_600)
            .timeout(Duration::from_millis(100))
            .open_native()
            .unwrap();
        Self {
            port,
            splitter: Splitter::new(),
        }
    }

    fn send(&mut self, message: HostMessage) {
        let mut frame = [0; MAX_FRAME];
        let length = encode_host(&message, 1, &mut frame).unwrap();
        self.port.write_all(&[0]).unwrap();
        self.port.write_all(&frame[..length]).unwrap();
    }

    /// Reads until `wanted` says enough; gives up after 100 silent reads.
    fn read_until(&mut self, mut wanted: impl FnMut(RigMessage<'_>) -> bool) {
        let mut silent = 0;
        let mut chunk = [0; 1024];
        let mut done = false;
        while !done {
            match self.port.read(&mut chunk) {
                Ok(length) => self.splitter.feed(&chunk[..length], |result| {
                    if let Ok(Ok(message)) = result.map(RigMessage::parse) {
                        done |= wanted(message);
                    }
                }),
                Err(error) if error.kind() == std::io::ErrorKind::TimedOut => silent += 1,
                Err(error) => panic!("{error}"),
            }
            assert!(silent < 100, "the rig does not answer");
        }
    }
}

#[test]
fn a_rig_can_be_opened_closed_and_opened_again() {
    let stop = Arc::new(AtomicBool::new(false));
    let (sender, receiver) = channel::<PathBuf>();
    let served = {
        let stop = Arc::clone(&stop);
        std::thread::spawn(move || {
            let mut rig = VirtualRig::new(common::rig(1), 1);
            virtual_rig::serve::serve(&mut rig, |path| sender.send(path.to_path_buf()).unwrap(), &stop)
        })
    };
    let path = receiver.recv().unwrap().to_string_lossy().into_owned();
    let mut boots = Vec::new();
    for nonce in 1..=3 {
        let mut port = Port::open(&path);
        port.send(HostMessage::Hello(Hello {
            major: 1,
            minor: 0,
            nonce,
        }));
        port.read_until(|message| match message {
            RigMessage::Identity(identity) if identity.nonce == nonce => {
                boots.push(identity.boot_id);
                true
            }
            _ => false,
        });
        port.send(HostMessage::Configure(common::bench::configuration()));
        port.send(HostMessage::StartSampling(Empty));
        // Samples of the stream before may still come until the new configuration is confirmed. A busy machine may
        // keep this thread from reading for longer than the rig can store: what is missing then, the rig must own up to.
        let (mut rows, mut next, mut confirmed, mut missing, mut lost) = (0, None, false, 0, 0);
        port.read_until(|message| {
            match message {
                RigMessage::Configured(_) => confirmed = true,
                RigMessage::Status(status) => lost = status.lost_batches,
                RigMessage::Samples(samples) if confirmed => {
                    missing += usize::from(next.is_some_and(|next| next != samples.first_tick));
                    next = Some(samples.first_tick + samples.rows() as u64 * u64::from(samples.period_us));
                    rows += samples.rows();
                }
                _ => {}
            }
            rows >= 800 && (missing == 0 || lost > 0)
        });
    }
    assert!(
        boots.windows(2).all(|pair| pair[0] == pair[1]),
        "closing the port is no reboot"
    );
    stop.store(true, Ordering::Relaxed);
    served.join().unwrap().unwrap();
}
