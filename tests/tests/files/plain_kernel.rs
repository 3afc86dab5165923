//! A kernel unpacked before it is started: an emulated processor takes a quarter of a minute for what this computer does in a second.
#![cfg(all(target_os = "linux", target_arch = "x86_64"))]

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Places in the header of a packed kernel (Documentation/x86/boot.rst: `setup_sects`, `payload_offset`, `payload_length`).
const SETUP_SECTS: usize = 0x1f1;
const PAYLOAD_OFFSET: usize = 0x248;
const PAYLOAD_LENGTH: usize = 0x24c;
const SECTOR: usize = 512;

/// What unpacks a payload that begins like this. Behind it stands its length, which is none of its own.
const UNPACKERS: [(&[u8], &str, &[&str]); 3] = [
    (b"\xfd7zXZ\0", "xz", &["--single-stream", "-dc"]),
    (b"\x28\xb5\x2f\xfd", "zstd", &["-dcq"]),
    (b"\x1f\x8b", "gzip", &["-dcq"]),
];

fn number(bytes: &[u8], place: usize) -> Option<usize> {
    let four = bytes.get(place..place + 4)?.try_into().ok()?;
    usize::try_from(u32::from_le_bytes(four)).ok()
}

fn payload(packed: &[u8]) -> Option<&[u8]> {
    let sectors = usize::from(*packed.get(SETUP_SECTS)?).max(1) + 1;
    let from = sectors * SECTOR + number(packed, PAYLOAD_OFFSET)?;
    packed.get(from..from + number(packed, PAYLOAD_LENGTH)?)
}

/// The kernel as an ELF file in `folder`; the packed one where that cannot be had, which takes longer and does the same.
pub(crate) fn plain(packed: PathBuf, folder: &Path) -> PathBuf {
    unpacked(&packed, folder).unwrap_or(packed)
}

fn unpacked(packed: &Path, folder: &Path) -> Option<PathBuf> {
    let bytes = std::fs::read(packed).ok()?;
    let payload = payload(&bytes)?;
    let (_, program, arguments) = UNPACKERS.iter().find(|(begin, ..)| payload.starts_with(begin))?;
    let path = folder.join("kernel");
    let mut child = Command::new(program)
        .args(*arguments)
        .stdin(Stdio::piped())
        .stdout(std::fs::File::create(&path).ok()?)
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    let mut input = child.stdin.take()?;
    // A program that stops reading at the end of its own stream is no failure; what it leaves is looked at.
    let _ = input.write_all(payload);
    drop(input);
    let _ = child.wait();
    let mut begin = [0; 4];
    let mut elf = std::fs::File::open(&path).ok()?;
    elf.read_exact(&mut begin).ok()?;
    let whole = elf.metadata().ok()?.len() > bytes.len() as u64;
    (begin == *b"\x7fELF" && whole).then_some(path)
}
