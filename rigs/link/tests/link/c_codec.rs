//! The C codec in `c/` and this crate make and take the same frames, and find the same in any bytes.
//!
//! Both were written from `PROTOCOL.md` and share no code. The C program prints every field of what it understood, and
//! the frame that it makes of it again.

use std::path::PathBuf;
use std::sync::OnceLock;

use crate::literals;
use crate::second_codec::{self, CODEC, build, dump, run};
use rig_link::{MAX_PAYLOAD, encode_frame, encode_host, encode_rig};

const SANITIZED: &[&str] = &[
    "-O1",
    "-g",
    "-fsanitize=address,undefined",
    "-fno-sanitize-recover=all",
];

fn optimised() -> &'static PathBuf {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| build("link-dump", CODEC, &["-O2"]))
}

fn sanitized() -> &'static PathBuf {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| build("link-dump-sanitized", CODEC, SANITIZED))
}

/// Numbers that repeat for a seed (`SplitMix64`: Steele, Lea & Flood 2014).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
    fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }
    fn bytes(&mut self, n: usize) -> Vec<u8> {
        (0..n).map(|_| self.next() as u8).collect()
    }
}

/// Where codes stand, with the greatest that has a meaning.
type Codes = &'static [(usize, u8)];

/// Kind, length of the payload, codes.
const KINDS: [(u8, usize, Codes); 22] = [
    (0x01, 6, &[]),
    (0x02, 1, &[]),
    (0x03, 40, &[(20, 1), (35, 1)]),
    (0x04, 0, &[]),
    (0x05, 0, &[]),
    (0x06, 4, &[]),
    (0x07, 8, &[]),
    (0x08, 8, &[]),
    (0x09, 14, &[(12, 1)]),
    (0x0A, 2, &[(0, 1), (1, 4)]),
    (0x0B, 4, &[]),
    (0x0C, 0, &[]),
    (0x81, 91, &[]),
    (0x82, 48, &[(0, 15), (1, 7), (3, 6)]),
    (0x83, 44, &[(20, 1), (35, 1)]),
    (0x84, 8, &[]),
    (0x85, 42, &[(8, 4), (9, 10), (10, 1), (11, 1)]),
    (0x86, 17, &[(12, 4)]),
    (0x87, 24, &[]),
    (0x88, 17, &[(12, 11)]),
    (0x89, 8, &[]),
    (0x8A, 10, &[(8, 1), (9, 4)]),
];

/// UTF-8 of one to four bytes a character, some of it cut or wrong, then zeros, some of them not.
fn put_text(random: &mut Random, place: &mut [u8]) {
    place.fill(0);
    let letters = [
        "a",
        "µ",
        "€",
        "𝛕",
        "\u{7ff}",
        "\u{d7ff}",
        "\u{e000}",
        "\u{10ffff}",
    ];
    let wrong: [&[u8]; 6] = [
        b"\xC0\x80",
        b"\xED\xA0\x80",
        b"\xF4\x90\x80\x80",
        b"\xE0\x9F\xBF",
        b"\xF0\x8F\xBF\xBF",
        b"\xFF",
    ];
    let (mut at, end) = (0, random.below(place.len() + 1));
    while at < end {
        let piece = if random.one_in(60) {
            wrong[random.below(wrong.len())]
        } else {
            letters[random.below(letters.len())].as_bytes()
        };
        let fits = piece.len().min(place.len() - at);
        if fits < piece.len() && !random.one_in(8) {
            break;
        }
        place[at..at + fits].copy_from_slice(&piece[..fits]);
        at += fits;
    }
    if random.one_in(20) {
        let last = place.len() - 1;
        place[last] = random.next() as u8;
    }
}

/// A frame of a known kind, mostly one with a meaning.
fn frame(random: &mut Random) -> Vec<u8> {
    let (kind, length, codes) = KINDS[random.below(KINDS.len())];
    let mut payload = random.bytes(length);
    for &(at, greatest) in codes {
        payload[at] = (random.next() % (u64::from(greatest) + 1)) as u8;
    }
    match kind {
        0x09 => {
            let count = 1 + random.below(64);
            payload[13] = count as u8;
            payload.extend(random.bytes(2 * count));
        }
        0x81 => {
            payload[20] = 1 + random.below(16) as u8;
            payload[34] &= 0x7F;
            for (from, to) in [(35, 59), (59, 75), (75, 91)] {
                put_text(random, &mut payload[from..to]);
            }
        }
        0x82 => {
            payload[2] = if random.one_in(2) { 2 } else { 4 };
            let reach = if payload[2] == 2 { 0x7FFF } else { 0x7FFF_FFFF };
            let (low, high) = (-(random.below(reach) as i32), random.below(reach) as i32);
            payload[20..24].copy_from_slice(&low.to_le_bytes());
            payload[24..28].copy_from_slice(&high.to_le_bytes());
            put_text(random, &mut payload[32..48]);
        }
        0x86 => {
            let row_bytes = 1 + random.below(40);
            let rows = 1 + random.below((MAX_PAYLOAD - 17) / row_bytes).min(254);
            payload[15] = row_bytes as u8;
            payload[16] = rows as u8;
            payload.extend(random.bytes(row_bytes * rows));
        }
        0x89 => payload[3] = 1 + random.below(12) as u8,
        _ => {}
    }
    // Some have a byte without meaning, or one too many or too few; some are of no kind at all.
    if random.one_in(12) && !payload.is_empty() {
        let at = random.below(payload.len().min(48));
        payload[at] = random.next() as u8;
    }
    if random.one_in(20) {
        payload.resize(payload.len().saturating_sub(1), 0);
    } else if random.one_in(20) && payload.len() < MAX_PAYLOAD {
        payload.push(0);
    }
    let kind = if random.one_in(25) {
        random.next() as u8
    } else {
        kind
    };
    let mut out = [0; rig_link::MAX_FRAME];
    let length = encode_frame(kind, random.next() as u16, &payload, &mut out).unwrap();
    out[..length].to_vec()
}

/// A frame of another version, its checksum right; or of fewer bytes than header and checksum.
fn odd_body(random: &mut Random) -> Vec<u8> {
    let short = random.one_in(2);
    let length = if short {
        random.below(8)
    } else {
        4 + random.below(20)
    };
    let mut body = random.bytes(length);
    if !short {
        body.extend(rig_link::frame::crc32c(&body).to_le_bytes());
    }
    let mut out = vec![0; body.len() + 2];
    let stuffed = rig_link::stuffing::stuff(&body, &mut out).unwrap();
    out.truncate(stuffed);
    out.push(0);
    out
}

/// Good frames, damaged ones, and no frames.
fn stream(seed: u64, frames: usize) -> Vec<u8> {
    let mut random = Random(seed);
    let mut all = Vec::new();
    for _ in 0..frames {
        let mut piece = frame(&mut random);
        match random.below(16) {
            0 => piece = odd_body(&mut random),
            1 => {
                let at = random.below(piece.len());
                piece[at] ^= 1 << random.below(8);
            }
            2 => {
                piece.remove(random.below(piece.len()));
            }
            3 => piece.insert(random.below(piece.len()), random.next() as u8),
            4 => piece.truncate(random.below(piece.len())),
            5 if random.one_in(8) => {
                let length = 400 + random.below(300);
                piece = (0..length).map(|_| 1 + (random.next() % 255) as u8).collect();
                piece.push(0);
            }
            _ => {}
        }
        all.extend(piece);
    }
    all.push(0);
    all
}

/// Compares line by line, so that a failure shows the candidate and not the whole stream.
fn compare(ours: &str, theirs: &str) {
    for (number, (ours, theirs)) in ours.lines().zip(theirs.lines()).enumerate() {
        assert_eq!(
            ours,
            theirs,
            "candidate {} of the stream: this crate left, C right",
            number + 1
        );
    }
    assert_eq!(ours.lines().count(), theirs.lines().count());
}

#[test]
fn every_message_goes_both_ways_unchanged() {
    let batch = literals::batch();
    let mut frames = Vec::new();
    let mut out = [0; rig_link::MAX_FRAME];
    for literal in literals::host() {
        let length = encode_host(&literal.message, literal.sequence, &mut out).unwrap();
        frames.push((literal.name, out[..length].to_vec()));
    }
    for literal in literals::rig(&batch) {
        let length = encode_rig(&literal.message, literal.sequence, &mut out).unwrap();
        frames.push((literal.name, out[..length].to_vec()));
    }
    assert_eq!(frames.len(), KINDS.len());
    let all: Vec<u8> = frames.iter().flat_map(|(_, wire)| wire.clone()).collect();
    for program in [optimised(), sanitized()] {
        let said = run(program, &all);
        compare(&dump(&all), &said);
        // What C makes of each is the very frame that it was given.
        for ((name, wire), line) in frames.iter().zip(said.lines()) {
            let mut expected = String::new();
            second_codec::hex(wire, &mut expected);
            assert!(line.contains(name), "{name}: {line}");
            assert_eq!(
                line.rsplit(" = ").next(),
                Some(expected.as_str()),
                "{name}: {line}"
            );
        }
    }
}

#[test]
fn both_find_the_same_in_good_and_damaged_frames() {
    let bytes = stream(0x7121, 110_000);
    let ours = dump(&bytes);
    let good = ours.lines().filter(|line| line.contains(" = ")).count();
    let malformed = ours.lines().filter(|line| line.contains("malformed")).count();
    // The stream is worth comparing: of everything there is plenty.
    assert!(ours.lines().count() > 100_000 && good > 50_000, "{good} good");
    assert!(malformed > 5_000, "{malformed} malformed");
    for word in ["stuffing", "length", "checksum", "version"] {
        let count = ours.lines().filter(|line| *line == word).count();
        assert!(count > 300, "{count} times {word}");
    }
    compare(&ours, &run(optimised(), &bytes));
}

#[test]
fn the_sanitizers_find_nothing_in_good_damaged_and_random_bytes() {
    let mut bytes = stream(0x7122, 12_000);
    bytes.extend(Random(0x7123).bytes(1 << 18));
    // Few zeros: long runs, up to and over the longest candidate.
    let mut random = Random(0x7124);
    bytes.extend(
        (0..1 << 18)
            .map(|_| {
                if random.one_in(500) {
                    0
                } else {
                    1 + (random.next() % 255) as u8
                }
            })
            .collect::<Vec<u8>>(),
    );
    compare(&dump(&bytes), &run(sanitized(), &bytes));
}

/// Bytes from the Python package `cobs` 1.2.2, and what its tests refuse; a zero never reaches the C function through its splitter.
#[test]
fn unstuffing_alone_gives_the_published_bytes_and_refuses_what_is_none() {
    let run: String = (1..=254).map(|byte| format!("{byte:02x}")).collect();
    let (full, behind) = (format!("ff{run}"), format!("01ff{run}"));
    let zero_first = format!("00{run}");
    let good = [
        ("01", ""),
        ("0101", "00"),
        ("010101", "0000"),
        ("0311220233", "11220033"),
        ("0511223344", "11223344"),
        ("0211010101", "11000000"),
        (full.as_str(), run.as_str()),
        (behind.as_str(), zero_first.as_str()),
    ];
    let bad = [
        "00",
        "05313233",
        "053132333400",
        "0531320034",
        "000531323334",
        "ff01",
    ];
    let output = std::process::Command::new(sanitized())
        .args(good.map(|(stuffed, _)| stuffed))
        .args(bad)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let said = String::from_utf8(output.stdout).unwrap();
    let expected: Vec<String> = good.iter().map(|(_, body)| format!("= {body}")).collect();
    let refused = bad.map(|_| "refused".to_owned());
    assert_eq!(
        said.lines().collect::<Vec<_>>(),
        [&expected[..], &refused].concat()
    );
}

/// Counts at the ends of what PROTOCOL.md chapter 5 allows, and one beyond.
#[test]
fn counts_have_the_same_ends() {
    // Count, period, whether it has a meaning: a single setpoint needs no period.
    let cases = [
        (0, 500, false),
        (1, 500, true),
        (1, 0, true),
        (2, 0, false),
        (2, 1, true),
        (64, 500, true),
        (65, 500, false),
    ];
    for (count, period_us, meaning) in cases {
        let mut payload = 7_u64.to_le_bytes().to_vec();
        payload.extend(u32::to_le_bytes(period_us));
        payload.extend([0, count]);
        payload.extend(vec![1; 2 * usize::from(count)]);
        let mut out = [0; rig_link::MAX_FRAME];
        let length = encode_frame(0x09, 1, &payload, &mut out).unwrap();
        let (ours, theirs) = (dump(&out[..length]), run(sanitized(), &out[..length]));
        compare(&ours, &theirs);
        assert_eq!(
            !ours.contains("malformed"),
            meaning,
            "{count} each {period_us} us: {ours}"
        );
    }
}
