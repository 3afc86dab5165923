//! Parquet: doubles, snappy, the units and the recording's identity as key-value metadata.

use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use parquet::basic::{Compression, Repetition, Type as Physical};
use parquet::data_type::DoubleType;
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::Type;

use super::Table;
use crate::exchange::ExchangeError;

pub(super) fn write(table: &Table<'_>, to: impl Write + Send, path: &Path) -> Result<(), ExchangeError> {
    let failed = |e: ParquetError| ExchangeError::io("write", path, std::io::Error::other(e));
    let fields: Result<Vec<_>, ParquetError> = table
        .columns
        .iter()
        .map(|column| {
            Type::primitive_type_builder(&column.name, Physical::DOUBLE)
                .with_repetition(Repetition::REQUIRED)
                .build()
                .map(Arc::new)
        })
        .collect();
    let schema = Type::group_type_builder("recording")
        .with_fields(fields.map_err(failed)?)
        .build()
        .map_err(failed)?;
    let mut pairs: Vec<KeyValue> = table
        .columns
        .iter()
        .map(|c| KeyValue::new(format!("units:{}", c.name), c.units.clone()))
        .collect();
    let header = table.recording.header();
    pairs.push(KeyValue::new("run_id".to_owned(), header.run_id.clone()));
    if let Some(seal) = table.recording.seal() {
        pairs.push(KeyValue::new("recording_seal".to_owned(), seal.sha256.clone()));
    }
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_key_value_metadata(Some(pairs))
        .build();
    let mut writer = SerializedFileWriter::new(to, Arc::new(schema), Arc::new(properties)).map_err(failed)?;
    // One group a block, so that no more than a block is in memory.
    for rows in table.blocks() {
        let mut group = writer.next_row_group().map_err(failed)?;
        for column in &table.columns {
            let values = table.values(column, rows.clone())?;
            let Some(mut chunk) = group.next_column().map_err(failed)? else {
                break;
            };
            chunk
                .typed::<DoubleType>()
                .write_batch(&values, None, None)
                .map_err(failed)?;
            chunk.close().map_err(failed)?;
        }
        group.close().map_err(failed)?;
    }
    let mut to = writer.into_inner().map_err(failed)?;
    to.flush().map_err(|e| ExchangeError::io("write", path, e))
}
