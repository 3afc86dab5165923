//! Little-endian fields in and out of byte slices, with the length checked at each step.

/// Reads fields from the front of a slice.
#[derive(Debug, Clone)]
pub struct Reader<'a> {
    rest: &'a [u8],
}

impl<'a> Reader<'a> {
    /// Starts at the first byte of `bytes`.
    #[must_use]
    pub const fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    /// Bytes not read yet.
    #[must_use]
    pub const fn remaining(&self) -> usize {
        self.rest.len()
    }

    /// The next `count` bytes, or `None` when there are fewer.
    pub fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (head, tail) = self.rest.split_at_checked(count)?;
        self.rest = tail;
        Some(head)
    }

    /// The next `N` bytes as an array.
    pub fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (head, tail) = self.rest.split_first_chunk::<N>()?;
        self.rest = tail;
        Some(*head)
    }

    /// An unsigned byte.
    pub fn u8(&mut self) -> Option<u8> {
        self.array::<1>().map(|[byte]| byte)
    }

    /// An unsigned 16-bit field.
    pub fn u16(&mut self) -> Option<u16> {
        self.array().map(u16::from_le_bytes)
    }

    /// A signed 16-bit field.
    pub fn i16(&mut self) -> Option<i16> {
        self.array().map(i16::from_le_bytes)
    }

    /// An unsigned 32-bit field.
    pub fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    /// A signed 32-bit field.
    pub fn i32(&mut self) -> Option<i32> {
        self.array().map(i32::from_le_bytes)
    }

    /// An unsigned 64-bit field.
    pub fn u64(&mut self) -> Option<u64> {
        self.array().map(u64::from_le_bytes)
    }

    /// An IEEE 754 double.
    pub fn f64(&mut self) -> Option<f64> {
        self.array().map(f64::from_le_bytes)
    }
}

/// Writes fields into a slice; remembers overflow instead of panicking.
#[derive(Debug)]
pub struct Writer<'a> {
    buffer: &'a mut [u8],
    length: usize,
    overflowed: bool,
}

impl<'a> Writer<'a> {
    /// Writes from the first byte of `buffer` on.
    pub const fn new(buffer: &'a mut [u8]) -> Self {
        Self {
            buffer,
            length: 0,
            overflowed: false,
        }
    }

    /// Bytes written, or `None` when the buffer was too short for them.
    #[must_use]
    pub const fn written(&self) -> Option<usize> {
        if self.overflowed { None } else { Some(self.length) }
    }

    /// Appends bytes as they are.
    pub fn put(&mut self, bytes: &[u8]) {
        let end = self.length.saturating_add(bytes.len());
        match self.buffer.get_mut(self.length..end) {
            Some(place) if !self.overflowed => {
                place.copy_from_slice(bytes);
                self.length = end;
            }
            _ => self.overflowed = true,
        }
    }

    /// Appends an unsigned byte.
    pub fn u8(&mut self, value: u8) {
        self.put(&[value]);
    }

    /// Appends an unsigned 16-bit field.
    pub fn u16(&mut self, value: u16) {
        self.put(&value.to_le_bytes());
    }

    /// Appends a signed 16-bit field.
    pub fn i16(&mut self, value: i16) {
        self.put(&value.to_le_bytes());
    }

    /// Appends an unsigned 32-bit field.
    pub fn u32(&mut self, value: u32) {
        self.put(&value.to_le_bytes());
    }

    /// Appends a signed 32-bit field.
    pub fn i32(&mut self, value: i32) {
        self.put(&value.to_le_bytes());
    }

    /// Appends an unsigned 64-bit field.
    pub fn u64(&mut self, value: u64) {
        self.put(&value.to_le_bytes());
    }

    /// Appends an IEEE 754 double.
    pub fn f64(&mut self, value: f64) {
        self.put(&value.to_le_bytes());
    }
}
