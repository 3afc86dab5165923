//! Bytes cut into lines.

use alloc::vec::Vec;

/// Longest line, bytes: what is longer is no line of an instrument, and nothing in here grows with what arrives.
pub const LONGEST: usize = 256;

/// Cuts a byte stream at line feeds, carriage returns, or both. Empty lines are none: a carriage return and a line feed
/// end one line.
#[derive(Debug, Clone)]
pub struct Cutter {
    line: Vec<u8>,
    /// The line is too long, or its beginning was not seen: it is thrown away up to its end.
    spoilt: bool,
}

/// What was cut off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut<'a> {
    /// A whole line without its end.
    Line(&'a str),
    /// One that is too long, no text, or whose beginning was not seen.
    Spoilt,
}

impl Default for Cutter {
    fn default() -> Self {
        Self::new()
    }
}

impl Cutter {
    /// Begins in the middle of a line, as whoever opens a port does: what comes up to the first end is thrown away.
    #[must_use]
    pub fn new() -> Self {
        Self {
            line: Vec::with_capacity(LONGEST),
            spoilt: true,
        }
    }

    /// Begins at the beginning of a line, as after a question.
    pub fn restart(&mut self) {
        self.line.clear();
        self.spoilt = false;
    }

    /// Takes bytes and hands over what they complete.
    pub fn feed(&mut self, bytes: &[u8], mut on_line: impl FnMut(Cut<'_>)) {
        for &byte in bytes {
            if byte == b'\n' || byte == b'\r' {
                let spoilt = core::mem::take(&mut self.spoilt);
                match core::str::from_utf8(&self.line) {
                    _ if spoilt => on_line(Cut::Spoilt),
                    Ok(text) if text.trim().is_empty() => {}
                    Ok(text) => on_line(Cut::Line(text)),
                    Err(_) => on_line(Cut::Spoilt),
                }
                self.line.clear();
            } else if self.line.len() < LONGEST {
                self.line.push(byte);
            } else {
                self.spoilt = true;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Cut, Cutter, LONGEST};
    use alloc::string::{String, ToString};
    use alloc::vec::Vec;

    fn cut(cutter: &mut Cutter, bytes: &[u8]) -> Vec<String> {
        let mut lines = Vec::new();
        cutter.feed(bytes, |cut| {
            lines.push(match cut {
                Cut::Line(text) => text.to_string(),
                Cut::Spoilt => "!".to_string(),
            });
        });
        lines
    }

    #[test]
    fn any_end_of_line_will_do_and_the_first_half_line_is_left_out() {
        let mut cutter = Cutter::new();
        assert_eq!(cut(&mut cutter, b"23.4\r\n1.5\r\n2"), ["!", "1.5"]);
        assert_eq!(cut(&mut cutter, b".5\n3.5\r4.5\n\n"), ["2.5", "3.5", "4.5"]);
    }

    #[test]
    fn what_is_too_long_or_no_text_is_spoilt_and_the_next_line_is_not() {
        let mut cutter = Cutter::new();
        cutter.restart();
        let long = [b'7'; 2 * LONGEST];
        assert_eq!(cut(&mut cutter, &long), [""; 0]);
        assert_eq!(
            cut(&mut cutter, b"\n1.0\n\xff\xfe\n2.0\n"),
            ["!", "1.0", "!", "2.0"]
        );
        assert!(cutter.line.capacity() <= 2 * LONGEST);
    }
}
