//! MATLAB's `.mat` of level 5: numeric arrays, compressed or not.
//!
//! Read here from the published description of the format ("MAT-File Format", level 5) rather than by a crate: those
//! there are unpack every variable without a bound before anything can be refused, and have had no release in years.
//! Columns are the real numeric vectors, and the columns of real numeric matrices as `NAME(:,1)`, `NAME(:,2)`, ….

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use flate2::read::ZlibDecoder;

use super::memory::{Columns, uneven};
use super::numpy_header::Number;
use super::{ColumnInfo, MOST_COLUMN_BYTES, MOST_COLUMNS};
use crate::exchange::ExchangeError;

const COMPRESSED: u32 = 15;
const MATRIX: u32 = 14;
/// Longest name of a variable, and most axes, that count as meant.
const MOST_NAME: u32 = 1 << 10;
/// Most columns of a matrix.
const MOST_WIDE: u64 = 256;

fn damaged(path: &Path, what: impl std::fmt::Display) -> ExchangeError {
    let fix = "save it again, with -v7 or -v7.3";
    ExchangeError::format(path, format!("cannot be read as MATLAB level 5: {what}"), fix)
}

/// The number types of data elements.
fn number(kind: u32) -> Option<Number> {
    Some(match kind {
        1 => Number::Signed(1),
        2 => Number::Unsigned(1),
        3 => Number::Signed(2),
        4 => Number::Unsigned(2),
        5 => Number::Signed(4),
        6 => Number::Unsigned(4),
        7 => Number::Float(4),
        9 => Number::Float(8),
        12 => Number::Signed(8),
        13 => Number::Unsigned(8),
        _ => return None,
    })
}

/// A stream of data elements.
struct Elements<R> {
    from: R,
    big_endian: bool,
}

/// The tag of a data element; `inline` holds the data of a short one.
struct Tag {
    kind: u32,
    bytes: u32,
    inline: Option<[u8; 4]>,
}

impl<R: Read> Elements<R> {
    fn word(&self, bytes: [u8; 4]) -> u32 {
        if self.big_endian {
            u32::from_be_bytes(bytes)
        } else {
            u32::from_le_bytes(bytes)
        }
    }

    fn four(&mut self) -> Result<[u8; 4], String> {
        let mut bytes = [0; 4];
        self.from.read_exact(&mut bytes).map_err(|e| e.to_string())?;
        Ok(bytes)
    }

    fn tag(&mut self) -> Result<Tag, String> {
        let first = self.four()?;
        let second = self.four()?;
        let first = self.word(first);
        // A short element has its length in the upper half and its data in place of the long one's length.
        if first >> 16 != 0 {
            let bytes = first >> 16;
            if bytes > 4 {
                return Err(format!("a short element of {bytes} bytes, at most 4 fit"));
            }
            return Ok(Tag {
                kind: first & 0xffff,
                bytes,
                inline: Some(second),
            });
        }
        Ok(Tag {
            kind: first,
            bytes: self.word(second),
            inline: None,
        })
    }

    /// A small element's bytes.
    fn small(&mut self, most: u32, what: &str) -> Result<(u32, Vec<u8>), String> {
        let tag = self.tag()?;
        if let Some(data) = tag.inline {
            return Ok((
                tag.kind,
                data.get(..tag.bytes as usize).unwrap_or_default().to_vec(),
            ));
        }
        if tag.bytes > most {
            return Err(format!("{what} of {} bytes, at most {most} are read", tag.bytes));
        }
        let mut data = vec![0; tag.bytes as usize];
        self.from.read_exact(&mut data).map_err(|e| e.to_string())?;
        self.pad(tag.bytes)?;
        Ok((tag.kind, data))
    }

    /// Elements begin at multiples of 8 bytes.
    fn pad(&mut self, bytes: u32) -> Result<(), String> {
        let mut rest = [0; 8];
        let padding = (8 - bytes % 8) % 8;
        let rest = rest.get_mut(..padding as usize).unwrap_or_default();
        self.from.read_exact(rest).map_err(|e| e.to_string())
    }

    fn array(&mut self) -> Result<Option<Array>, String> {
        let (_, flags) = self.small(64, "array flags")?;
        let flags: [u8; 4] = flags
            .get(..4)
            .and_then(|f| f.try_into().ok())
            .ok_or("no array flags")?;
        let flags = self.word(flags);
        let (class, is_complex) = (flags & 0xff, flags & 0x800 != 0);
        let (_, axes) = self.small(256, "dimensions")?;
        let axes: Vec<u64> = axes
            .chunks_exact(4)
            .map(|b| u64::from(self.word(b.try_into().unwrap_or_default())))
            .collect();
        let (_, name) = self.small(MOST_NAME, "a name")?;
        let name = String::from_utf8_lossy(&name).into_owned();
        // Classes 6 to 15 are plain numbers; sparse arrays, texts, structures and cells are others.
        let [down, wide] = axes.as_slice() else {
            return Ok(None);
        };
        if !(6..=15).contains(&class) || is_complex || *wide == 0 || *down == 0 {
            return Ok(None);
        }
        let (rows, columns) = if *down == 1 { (*wide, 1) } else { (*down, *wide) };
        if columns > MOST_WIDE {
            return Ok(None);
        }
        Ok(Some(Array {
            name,
            whole: class > 7,
            rows,
            columns,
        }))
    }

    /// The values behind an array's name. Memory grows with what is really there.
    fn values(&mut self, array: &Array) -> Result<Vec<f64>, String> {
        let tag = self.tag()?;
        let kind = number(tag.kind).ok_or_else(|| format!("values of the type {}", tag.kind))?;
        let all = array.rows.checked_mul(array.columns).ok_or("too large")?;
        let due = all.checked_mul(u64::from(kind.bytes())).ok_or("too large")?;
        if u64::from(tag.bytes) != due {
            return Err(format!(
                "{:?} declares {all} values, its data are {} bytes of {} each",
                array.name,
                tag.bytes,
                kind.bytes()
            ));
        }
        if due > MOST_COLUMN_BYTES {
            return Err(format!(
                "{:?} takes {due} bytes, at most {MOST_COLUMN_BYTES} are read",
                array.name
            ));
        }
        let size = usize::from(kind.bytes());
        let mut out = Vec::new();
        if let Some(data) = tag.inline {
            let data = data.get(..tag.bytes as usize).unwrap_or_default();
            out.extend(data.chunks_exact(size).map(|b| kind.value(b, self.big_endian)));
            return Ok(out);
        }
        let mut left = due;
        let mut buffer = vec![0; 1 << 16];
        while left > 0 {
            let part = usize::try_from(left).unwrap_or(usize::MAX).min(buffer.len());
            let buffer = buffer.get_mut(..part).unwrap_or_default();
            self.from.read_exact(buffer).map_err(|e| e.to_string())?;
            out.extend(buffer.chunks_exact(size).map(|b| kind.value(b, self.big_endian)));
            left -= part as u64;
        }
        // A compressed element ends with a checksum, which is compared when its end is read.
        let mut rest = Vec::new();
        (&mut self.from)
            .take(16)
            .read_to_end(&mut rest)
            .map_err(|e| e.to_string())?;
        Ok(out)
    }
}

/// A numeric variable.
struct Array {
    name: String,
    whole: bool,
    rows: u64,
    columns: u64,
}

impl Array {
    fn names(&self) -> Vec<String> {
        match self.columns {
            1 => vec![self.name.clone()],
            n => (1..=n).map(|k| format!("{}(:,{k})", self.name)).collect(),
        }
    }
}

/// Calls `on` for each numeric variable with the stream behind its name.
fn each(
    path: &Path,
    mut on: impl FnMut(Array, &mut Elements<Box<dyn Read>>) -> Result<(), String>,
) -> Result<(), ExchangeError> {
    let io = |e| ExchangeError::io("read", path, e);
    let file = File::open(path).map_err(io)?;
    let length = file.metadata().map_err(io)?.len();
    let mut file = BufReader::new(file);
    let mut head = [0; 128];
    file.read_exact(&mut head)
        .map_err(|_| damaged(path, "it is shorter than its header"))?;
    let big_endian = match head.get(126..128) {
        Some(b"IM") => false,
        Some(b"MI") => true,
        _ => return Err(damaged(path, "the mark of its byte order is missing")),
    };
    let mut at = 128_u64;
    let mut variables = 0_usize;
    while at < length {
        file.seek(SeekFrom::Start(at)).map_err(io)?;
        let mut elements = Elements {
            from: &mut file,
            big_endian,
        };
        let tag = elements
            .tag()
            .map_err(|e| damaged(path, format!("at byte {at}: {e}")))?;
        let start = at + 8;
        let end = start + u64::from(tag.bytes);
        if tag.inline.is_some() || end > length {
            let what = format!(
                "an element at byte {at} is to end at byte {end}, the file ends at {length}: it was cut short"
            );
            return Err(damaged(path, what));
        }
        // Every element gets a view of the file that ends where it ends.
        let mut own = File::open(path).map_err(io)?;
        own.seek(SeekFrom::Start(start)).map_err(io)?;
        let own = BufReader::new(own.take(u64::from(tag.bytes)));
        let mut inside: Elements<Box<dyn Read>> = match tag.kind {
            COMPRESSED => Elements {
                from: Box::new(ZlibDecoder::new(own)),
                big_endian,
            },
            _ => Elements {
                from: Box::new(own),
                big_endian,
            },
        };
        let is_matrix = if tag.kind == COMPRESSED {
            inside
                .tag()
                .map_err(|e| damaged(path, format!("at byte {at}: {e}")))?
                .kind
                == MATRIX
        } else {
            tag.kind == MATRIX
        };
        if is_matrix && tag.bytes > 0 {
            let context = |e| damaged(path, format!("the variable at byte {at}: {e}"));
            if let Some(array) = inside.array().map_err(context)? {
                on(array, &mut inside).map_err(context)?;
            }
        }
        variables += 1;
        if variables > MOST_COLUMNS {
            return Err(damaged(
                path,
                format!("it has more than {MOST_COLUMNS} variables"),
            ));
        }
        at = if tag.kind == COMPRESSED {
            end
        } else {
            end.div_ceil(8) * 8
        };
    }
    Ok(())
}

/// The numeric vectors and columns of matrices.
pub(super) fn columns(path: &Path) -> Result<Vec<ColumnInfo>, ExchangeError> {
    let mut found = Vec::new();
    each(path, |array, _| {
        found.extend(array.names().into_iter().map(|name| ColumnInfo {
            name,
            whole: array.whole,
            ..ColumnInfo::default()
        }));
        Ok(())
    })?;
    Ok(found)
}

/// Reads the columns in use.
pub(super) fn read(path: &Path, infos: Vec<ColumnInfo>) -> Result<Columns, ExchangeError> {
    let mut columns = vec![Vec::new(); infos.len()];
    each(path, |array, stream| {
        let names = array.names();
        if !infos.iter().any(|info| names.contains(&info.name)) {
            return Ok(());
        }
        let values = stream.values(&array)?;
        // Matrices are stored column by column.
        let rows = usize::try_from(array.rows).unwrap_or(usize::MAX).max(1);
        for (name, part) in names.iter().zip(values.chunks(rows)) {
            for (column, info) in columns.iter_mut().zip(&infos) {
                if info.name == *name {
                    *column = part.to_vec();
                }
            }
        }
        Ok(())
    })?;
    let lengths: Vec<(String, usize)> = infos
        .iter()
        .zip(&columns)
        .map(|(info, values)| (info.name.clone(), values.len()))
        .collect();
    match uneven(&lengths) {
        Some(what) => Err(ExchangeError::format(
            path,
            what,
            "map variables of one recording",
        )),
        None => Ok(Columns::new(infos, columns)),
    }
}
