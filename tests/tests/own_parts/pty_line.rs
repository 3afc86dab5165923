//! The bench's serial line on a pseudo-terminal: every byte, in order, both ways; and what it says when the far side goes.

#![allow(clippy::unwrap_used)] // helpers count as production code

use std::time::Duration;

use acceptance::pty_figures::pty::{self, Pty};
use truerim::drive::{Line, SerialLine};

/// Turns after which a test gives up; each waits 20 ms at most.
const TURNS: usize = 1_000;

fn wait(line: &mut SerialLine, inbox: &mut Vec<u8>) -> bool {
    let until = line.now().plus_us(20_000);
    line.wait(until, inbox).is_ok()
}

/// Bytes that no shift, loss or doubling maps onto themselves: their period of 251 fits no buffer.
fn pattern(length: usize) -> Vec<u8> {
    (0..length).map(|index| (index % 251) as u8).collect()
}

#[test]
fn bytes_arrive_whole_and_in_order_however_they_are_cut() {
    let terminal = Pty::open().unwrap();
    let mut line = SerialLine::open(&terminal.path, 921_600).unwrap();
    let sent = pattern(60_000);
    let mut inbox = Vec::new();
    // Pieces from one byte to more than the kernel holds for one reader (4,095).
    let mut left = sent.as_slice();
    let mut length = 1;
    for _ in 0..TURNS {
        let (piece, _) = left.split_at(length.min(left.len()));
        let written = rustix::io::write(&terminal.device, piece).unwrap_or(0);
        left = &left[written..];
        length = length * 3 % 5_003 + 1;
        assert!(wait(&mut line, &mut inbox));
        if inbox.len() == sent.len() {
            break;
        }
    }
    assert!(
        inbox == sent,
        "{} of {} bytes, or others",
        inbox.len(),
        sent.len()
    );
    assert!(wait(&mut line, &mut inbox), "silence is no error");
    assert_eq!(inbox.len(), sent.len());
}

#[test]
fn what_is_written_is_what_the_far_side_reads() {
    let terminal = Pty::open().unwrap();
    let mut line = SerialLine::open(&terminal.path, 921_600).unwrap();
    let sent = pattern(3_000);
    line.write(&sent, false).unwrap();
    let (mut got, mut chunk) = (Vec::new(), [0; 512]);
    for _ in 0..TURNS {
        if got.len() < sent.len() && pty::wait(&terminal.device, Duration::from_millis(20)).unwrap() {
            got.extend_from_slice(pty::read(&terminal.device, &mut chunk).unwrap());
        }
    }
    assert!(got == sent, "{} of {} bytes, or others", got.len(), sent.len());
}

#[test]
fn a_far_side_that_takes_nothing_is_an_error_and_no_hang() {
    let terminal = Pty::open().unwrap();
    let mut line = SerialLine::open(&terminal.path, 921_600).unwrap();
    let piece = pattern(4_000);
    let failed = (0..TURNS).any(|_| line.write(&piece, false).is_err());
    assert!(failed, "{} bytes went nowhere", TURNS * piece.len());
}

#[test]
fn a_far_side_that_is_gone_is_an_error() {
    let Pty {
        device,
        far_end,
        path,
    } = Pty::open().unwrap();
    let mut line = SerialLine::open(&path, 921_600).unwrap();
    drop((device, far_end));
    let mut inbox = Vec::new();
    let gone = (0..TURNS).any(|_| !wait(&mut line, &mut inbox));
    assert!(gone);
    assert!(inbox.is_empty());
    assert!(line.write(&[0], false).is_err());
}

#[test]
fn a_port_in_use_is_refused() {
    let terminal = Pty::open().unwrap();
    let line = SerialLine::open(&terminal.path, 921_600).unwrap();
    assert!(SerialLine::open(&terminal.path, 921_600).is_err());
    drop(line);
    assert!(SerialLine::open(&terminal.path, 921_600).is_ok());
}
