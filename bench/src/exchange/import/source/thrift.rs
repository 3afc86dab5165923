//! A look over Thrift's compact protocol, in which Parquet writes its headers, before the Parquet crate trusts them.
//!
//! The crate reserves memory for as many elements and bytes as a header declares. A damaged header declares anything;
//! here every declared length is compared with what is there.

/// Deepest nesting; Parquet's headers need about ten.
const DEEPEST: usize = 24;

/// What a structure at the start of `bytes` holds.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Glance {
    /// Bytes it takes.
    pub(super) length: usize,
    /// Whole numbers among its own fields, by field number.
    pub(super) numbers: Vec<(i64, i64)>,
}

impl Glance {
    /// The whole number in a field.
    pub(super) fn number(&self, field: i64) -> Option<i64> {
        self.numbers.iter().find(|(id, _)| *id == field).map(|(_, n)| *n)
    }
}

/// Walks over the structure at the start of `bytes`.
///
/// # Errors
/// In words, if it does not end within `bytes` or declares more than there is.
pub(super) fn glance(bytes: &[u8]) -> Result<Glance, String> {
    let mut walk = Walk { bytes, at: 0 };
    let mut glance = Glance::default();
    walk.structure(DEEPEST, &mut |id, n| glance.numbers.push((id, n)))?;
    glance.length = walk.at;
    Ok(glance)
}

struct Walk<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Walk<'_> {
    fn byte(&mut self) -> Result<u8, String> {
        let byte = self
            .bytes
            .get(self.at)
            .copied()
            .ok_or("a header does not end where it should")?;
        self.at += 1;
        Ok(byte)
    }

    fn skip(&mut self, bytes: u64) -> Result<(), String> {
        let left = (self.bytes.len() - self.at) as u64;
        if bytes > left {
            return Err(format!("a header declares {bytes} bytes where {left} are left"));
        }
        self.at += usize::try_from(bytes).unwrap_or(usize::MAX);
        Ok(())
    }

    fn varint(&mut self) -> Result<u64, String> {
        let mut value = 0;
        for shift in (0..70).step_by(7) {
            let byte = self.byte()?;
            if shift < 64 {
                value |= u64::from(byte & 0x7f) << shift;
            }
            if byte & 0x80 == 0 {
                return Ok(value);
            }
        }
        Err("a number in a header has too many bytes".into())
    }

    fn zigzag(&mut self) -> Result<i64, String> {
        let raw = self.varint()?;
        Ok((raw >> 1) as i64 ^ -((raw & 1) as i64))
    }

    fn structure(&mut self, depth: usize, on: &mut dyn FnMut(i64, i64)) -> Result<(), String> {
        let depth = depth.checked_sub(1).ok_or("a header is nested too deep")?;
        let mut id = 0_i64;
        loop {
            let byte = self.byte()?;
            if byte == 0 {
                return Ok(());
            }
            id = match byte >> 4 {
                0 => self.zigzag()?,
                step => id.saturating_add(i64::from(step)),
            };
            match byte & 0x0f {
                1 | 2 => {} // the value of a flag is its type
                4..=6 => on(id, self.zigzag()?),
                kind => self.value(kind, depth)?,
            }
        }
    }

    fn value(&mut self, kind: u8, depth: usize) -> Result<(), String> {
        match kind {
            1..=3 => self.skip(1),
            4..=6 => self.varint().map(drop),
            7 => self.skip(8),
            8 => {
                let length = self.varint()?;
                self.skip(length)
            }
            9 | 10 => {
                let head = self.byte()?;
                let count = match head >> 4 {
                    15 => self.varint()?,
                    few => u64::from(few),
                };
                self.many(count, &[head & 0x0f], depth)
            }
            11 => {
                let count = self.varint()?;
                if count == 0 {
                    return Ok(());
                }
                let kinds = self.byte()?;
                self.many(count, &[kinds >> 4, kinds & 0x0f], depth)
            }
            12 => self.structure(depth, &mut |_, _| {}),
            13 => self.skip(16),
            _ => Err(format!("a header has a field of the unknown type {kind}")),
        }
    }

    fn many(&mut self, count: u64, kinds: &[u8], depth: usize) -> Result<(), String> {
        let depth = depth.checked_sub(1).ok_or("a header is nested too deep")?;
        let left = (self.bytes.len() - self.at) as u64;
        if count > left {
            return Err(format!(
                "a header declares {count} elements where {left} bytes are left"
            ));
        }
        for _ in 0..count {
            for kind in kinds {
                self.value(*kind, depth)?;
            }
        }
        Ok(())
    }
}
