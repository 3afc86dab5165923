//! Values of a model as a Parquet file: a row a value, with types, SI units, and where they come from.

use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, TimestampType, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use records::{Measurement, ModelData};

use super::ArchiveError;

/// A text column's name, and what a measurement has of it.
type Text = (&'static str, fn(&Measurement) -> &String);

/// What each value is told with.
const TEXTS: [Text; 9] = [
    ("serial", |m| &m.serial),
    ("model", |m| &m.model),
    ("bench", |m| &m.bench),
    ("fixture", |m| &m.fixture),
    ("firmware", |m| &m.firmware),
    ("batch", |m| &m.batch),
    ("operator", |m| &m.operator),
    ("calibration", |m| &m.calibration),
    ("procedure", |m| &m.procedure),
];

/// Where the values come from, for the file's own account of itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TableOrigin {
    /// The records, without a password.
    pub records: String,
    /// Number and link of the last entry when they were read.
    pub end: (i64, String),
}

/// Writes each value of each measurand as a row: `measurand`, `unit` (SI, as UDUNITS writes it), `value`, `u` (standard uncertainty;
/// both empty where the fit refused), `measured` (an instant, UTC), `recording` (number of the entry), whether the calibration
/// had run out, and who, where and under what. The file's metadata names the unit of each measurand (`units:NAME`), the records
/// and their last entry.
///
/// # Errors
/// [`ArchiveError::Io`] when the file cannot be written.
pub fn write_values(data: &ModelData, origin: &TableOrigin, path: &Path) -> Result<(), ArchiveError> {
    let io = |source| ArchiveError::Io {
        doing: "write",
        path: path.to_owned(),
        source,
    };
    let file = std::fs::File::create(path).map_err(io)?;
    write(data, origin, std::io::BufWriter::new(file)).map_err(|error| io(std::io::Error::other(error)))
}

fn column(
    name: &str,
    physical: Physical,
    logical: Option<LogicalType>,
    repetition: Repetition,
) -> Result<Arc<Type>, ParquetError> {
    Type::primitive_type_builder(name, physical)
        .with_logical_type(logical)
        .with_repetition(repetition)
        .build()
        .map(Arc::new)
}

fn schema() -> Result<Type, ParquetError> {
    let text = |name: &str| {
        column(
            name,
            Physical::BYTE_ARRAY,
            Some(LogicalType::String),
            Repetition::REQUIRED,
        )
    };
    let instant = LogicalType::Timestamp(TimestampType {
        is_adjusted_to_u_t_c: true,
        unit: TimeUnit::MILLIS,
    });
    let mut fields = vec![
        text("measurand")?,
        text("unit")?,
        column("value", Physical::DOUBLE, None, Repetition::OPTIONAL)?,
        column("u", Physical::DOUBLE, None, Repetition::OPTIONAL)?,
        column("measured", Physical::INT64, Some(instant), Repetition::REQUIRED)?,
        column("recording", Physical::INT64, None, Repetition::REQUIRED)?,
        column("calibration_overdue", Physical::INT64, None, Repetition::REQUIRED)?,
    ];
    for (name, _) in TEXTS {
        fields.push(text(name)?);
    }
    Type::group_type_builder("values").with_fields(fields).build()
}

fn write(data: &ModelData, origin: &TableOrigin, to: impl Write + Send) -> Result<(), ParquetError> {
    let mut pairs: Vec<KeyValue> = data
        .series
        .iter()
        .map(|series| KeyValue::new(format!("units:{}", series.id), series.unit.clone()))
        .collect();
    pairs.push(KeyValue::new("records".to_owned(), origin.records.clone()));
    pairs.push(KeyValue::new("last_entry".to_owned(), origin.end.0.to_string()));
    pairs.push(KeyValue::new("last_link".to_owned(), origin.end.1.clone()));
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_key_value_metadata(Some(pairs))
        .build();
    let mut writer = SerializedFileWriter::new(to, Arc::new(schema()?), Arc::new(properties))?;
    // A group a measurand: whoever wants one reads one.
    for series in &data.series {
        let points = series.points.iter();
        let rows: Vec<_> = points
            .filter_map(|point| Some((point, data.measurements.get(point.of)?)))
            .collect();
        let mut group = writer.next_row_group()?;
        texts(&mut group, rows.iter().map(|_| series.id.as_str()))?;
        texts(&mut group, rows.iter().map(|_| series.unit.as_str()))?;
        numbers(&mut group, rows.iter().map(|(point, _)| point.value))?;
        numbers(&mut group, rows.iter().map(|(point, _)| point.u))?;
        wholes(&mut group, rows.iter().map(|(_, m)| m.at.saturating_mul(1000)))?;
        wholes(&mut group, rows.iter().map(|(_, m)| m.recording))?;
        wholes(&mut group, rows.iter().map(|(_, m)| i64::from(m.overdue)))?;
        for (_, of) in TEXTS {
            texts(&mut group, rows.iter().map(|(_, m)| of(m).as_str()))?;
        }
        group.close()?;
    }
    writer.into_inner()?.flush()?;
    Ok(())
}

fn texts<'a, W: Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    values: impl Iterator<Item = &'a str>,
) -> Result<(), ParquetError> {
    let values: Vec<ByteArray> = values.map(ByteArray::from).collect();
    if let Some(mut chunk) = group.next_column()? {
        chunk.typed::<ByteArrayType>().write_batch(&values, None, None)?;
        chunk.close()?;
    }
    Ok(())
}

fn wholes<W: Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    values: impl Iterator<Item = i64>,
) -> Result<(), ParquetError> {
    let values: Vec<i64> = values.collect();
    if let Some(mut chunk) = group.next_column()? {
        chunk.typed::<Int64Type>().write_batch(&values, None, None)?;
        chunk.close()?;
    }
    Ok(())
}

/// Numbers of which some may be absent: the values that are there, and for each row whether it has one.
fn numbers<W: Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    values: impl Iterator<Item = Option<f64>>,
) -> Result<(), ParquetError> {
    let values: Vec<Option<f64>> = values.collect();
    let there: Vec<i16> = values.iter().map(|value| i16::from(value.is_some())).collect();
    let numbers: Vec<f64> = values.into_iter().flatten().collect();
    if let Some(mut chunk) = group.next_column()? {
        chunk
            .typed::<DoubleType>()
            .write_batch(&numbers, Some(&there), None)?;
        chunk.close()?;
    }
    Ok(())
}

#[cfg(test)]
mod tests;
