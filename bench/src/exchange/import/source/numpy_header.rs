//! The header of a `.npy` array (NEP 1): a mark, a version, and a Python dictionary of three entries.
//!
//! Read here rather than by a crate: those there are build a whole parser generator for these few words, and read a
//! header's length without a bound.

/// Longest header; NumPy's own are of 64 to 128 bytes.
const MOST: usize = 1 << 16;

/// What a header says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Array {
    /// Kind of number.
    pub(crate) kind: Number,
    /// Whether the most significant byte comes first.
    pub(crate) big_endian: bool,
    /// Number of values.
    pub(crate) length: u64,
    /// Bytes before the first value.
    pub(crate) start: usize,
}

/// Kinds of number that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Number {
    /// Floating point of so many bytes.
    Float(u8),
    /// Whole with sign.
    Signed(u8),
    /// Whole without sign.
    Unsigned(u8),
}

impl Number {
    /// Bytes a value takes.
    pub(crate) const fn bytes(self) -> u8 {
        match self {
            Self::Float(n) | Self::Signed(n) | Self::Unsigned(n) => n,
        }
    }

    /// Whether it is whole.
    pub(crate) const fn is_whole(self) -> bool {
        !matches!(self, Self::Float(_))
    }

    /// A value from its bytes, most significant last.
    pub(crate) fn value(self, bytes: &[u8], big_endian: bool) -> f64 {
        let mut word = [0_u8; 8];
        let n = bytes.len().min(8);
        for (i, byte) in bytes.iter().take(n).enumerate() {
            let to = if big_endian { n - 1 - i } else { i };
            if let Some(place) = word.get_mut(to) {
                *place = *byte;
            }
        }
        let raw = u64::from_le_bytes(word);
        let unused = 64 - 8 * u32::from(self.bytes());
        match self {
            Self::Float(8) => f64::from_bits(raw),
            Self::Float(_) => f64::from(f32::from_bits((raw & 0xffff_ffff) as u32)),
            Self::Signed(_) => ((raw << unused) as i64 >> unused) as f64,
            Self::Unsigned(_) => raw as f64,
        }
    }

    fn of(code: &str) -> Option<Self> {
        let bytes: u8 = code.get(1..)?.parse().ok()?;
        match (code.chars().next()?, bytes) {
            ('f', 4 | 8) => Some(Self::Float(bytes)),
            ('i', 1 | 2 | 4 | 8) => Some(Self::Signed(bytes)),
            ('u', 1 | 2 | 4 | 8) => Some(Self::Unsigned(bytes)),
            ('b', 1) => Some(Self::Unsigned(1)),
            _ => None,
        }
    }
}

/// Bytes that hold any header in full, if the mark and version are right: length of all before the values.
fn whole_length(bytes: &[u8]) -> Option<usize> {
    let version = bytes.strip_prefix(b"\x93NUMPY")?;
    let le = |at: usize, n: usize| -> Option<usize> {
        let part = version.get(at..at + n)?;
        Some(part.iter().rev().fold(0, |sum, b| sum << 8 | usize::from(*b)))
    };
    let (prefix, length) = match version.first()? {
        1 => (10, le(2, 2)?),
        2 | 3 => (12, le(2, 4)?),
        _ => return None,
    };
    (length <= MOST).then_some(prefix + length)
}

/// Reads a header; `read` hands over that many more bytes.
///
/// # Errors
/// In words: what is wrong or not read here.
pub(crate) fn read(mut read: impl FnMut(usize) -> Result<Vec<u8>, String>) -> Result<Array, String> {
    let mut bytes = read(12)?;
    let start = whole_length(&bytes).ok_or("does not begin as a NumPy array of version 1 to 3")?;
    bytes.extend(read(start.saturating_sub(12))?);
    let text = bytes
        .get(10..start)
        .map(String::from_utf8_lossy)
        .unwrap_or_default();
    let descr = quoted_behind(&text, "'descr':").ok_or("holds something else than plain numbers")?;
    let (order, code) = descr.split_at_checked(1).unwrap_or(("", ""));
    let kind = match order {
        "<" | ">" | "|" | "=" => Number::of(code),
        _ => None,
    };
    let kind = kind.ok_or_else(|| format!("has the type {descr:?}, which is not read here"))?;
    let shape = text
        .split("'shape':")
        .nth(1)
        .and_then(|rest| rest.split('(').nth(1))
        .and_then(|rest| rest.split(')').next())
        .ok_or("has no shape")?;
    let axes: Result<Vec<u64>, _> = shape
        .split(',')
        .map(str::trim)
        .filter(|s| !s.is_empty())
        .map(str::parse)
        .collect();
    let axes = axes.map_err(|_| format!("has the shape ({shape})"))?;
    // A column or a row of a table of two axes is one-dimensional too.
    let long = axes.iter().filter(|n| **n != 1).count();
    if long > 1 {
        return Err(format!("has {long} axes"));
    }
    let length = axes
        .iter()
        .try_fold(1_u64, |all, n| all.checked_mul(*n))
        .ok_or("is too large")?;
    Ok(Array {
        kind,
        big_endian: order == ">",
        length,
        start,
    })
}

fn quoted_behind<'a>(text: &'a str, key: &str) -> Option<&'a str> {
    let rest = text.split(key).nth(1)?.trim_start();
    rest.strip_prefix('\'')?.split('\'').next()
}
