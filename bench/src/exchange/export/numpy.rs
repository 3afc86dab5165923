//! npz: a zip archive with one array of doubles a column.

use std::io::{Seek, Write};
use std::path::Path;

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::Table;
use crate::exchange::ExchangeError;

/// Members from this size on need the archive's long form.
const LONG: usize = 1 << 28;

/// The header of an array of `rows` doubles (NEP 1): its whole length is a multiple of 64 bytes.
fn header(rows: usize) -> Vec<u8> {
    let text = format!("{{'descr': '<f8', 'fortran_order': False, 'shape': ({rows},), }}");
    let padding = 63 - (10 + text.len()) % 64;
    let mut out = b"\x93NUMPY\x01\x00".to_vec();
    let length = u16::try_from(text.len() + padding + 1).unwrap_or(u16::MAX);
    out.extend(length.to_le_bytes());
    out.extend(text.bytes());
    out.resize(out.len() + padding, b' ');
    out.push(b'\n');
    out
}

pub(super) fn write(table: &Table<'_>, to: impl Write + Seek, path: &Path) -> Result<(), ExchangeError> {
    let zip = |e: zip::result::ZipError| ExchangeError::io("write", path, std::io::Error::other(e));
    let io = |e| ExchangeError::io("write", path, e);
    let mut archive = ZipWriter::new(to);
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .compression_level(Some(1))
        .large_file(table.rows.len() >= LONG);
    for column in &table.columns {
        archive
            .start_file(format!("{}.npy", column.name), options)
            .map_err(zip)?;
        archive.write_all(&header(table.rows.len())).map_err(io)?;
        for rows in table.blocks() {
            let values = table.values(column, rows)?;
            let bytes: Vec<u8> = values.iter().flat_map(|v| v.to_le_bytes()).collect();
            archive.write_all(&bytes).map_err(io)?;
        }
    }
    archive.finish().map_err(zip)?.flush().map_err(io)
}
