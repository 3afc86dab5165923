//! The shape of a recording: what a fresh file holds before the first sample.

use std::path::Path;

use hdf5_metno::{Dataset, File, H5Type};
use ndarray::ArrayView1;

use super::columns::{ExtraRow, FileRow};
use super::error::RecordingError;
use super::h5::{self, Explain};
use super::header::{ChannelInfo, CountWidth, Header};
use super::pace::Pace;
use super::{attributes, table};

/// Value of the root attribute `schema`.
pub(super) const SCHEMA: &str = "truerim recording";
/// Major version this program reads and writes.
pub(super) const SCHEMA_MAJOR: u32 = 1;
/// Version this program writes.
pub(super) const SCHEMA_VERSION: &str = "1.2";

/// Whether a file is still being recorded or done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum State {
    Live,
    Sealed,
}

impl State {
    pub(super) fn as_str(self) -> &'static str {
        match self {
            Self::Live => "live",
            Self::Sealed => "sealed",
        }
    }

    /// Rows a chunk: what is written at once while recording; larger when sealed, as readers take long stretches and
    /// longer stretches compress better.
    fn chunk_rows(self, header: &Header) -> usize {
        match self {
            Self::Live => Pace::of(header).chunk_rows,
            Self::Sealed => 16_384,
        }
    }
}

/// The growing datasets of the root group.
pub(super) struct Layout {
    time: Dataset,
    channels: Vec<(Dataset, CountWidth)>,
}

/// Writes the root attributes, `/files`, `/extra` and the empty channels on their `time` scale.
pub(super) fn create(
    file: &File,
    path: &Path,
    header: &Header,
    state: State,
) -> Result<Layout, RecordingError> {
    h5::put_text(file, path, "Conventions", "CF-1.10")?;
    let title = format!(
        "{} {}, {}, {}",
        header.unit.model, header.unit.serial, header.mounting, header.created
    );
    h5::put_text(file, path, "title", &title)?;
    h5::put_text(file, path, "schema", SCHEMA)?;
    h5::put_text(file, path, "schema_version", SCHEMA_VERSION)?;
    h5::put_text(file, path, "state", state.as_str())?;
    attributes::write(file, path, header)?;
    let files: Vec<FileRow> = header
        .files
        .iter()
        .map(|(name, text)| FileRow(name.clone(), text.clone()))
        .collect();
    table::write(file, path, &files)?;
    let extra: Vec<ExtraRow> = header
        .extra
        .iter()
        .map(|(name, value)| ExtraRow(name.clone(), value.clone()))
        .collect();
    table::write(file, path, &extra)?;

    let chunk_rows = state.chunk_rows(header);
    let time = growing::<i64>(file, path, "time", chunk_rows)?;
    h5::put_text(&time, path, "units", "s")?;
    h5::put_text(
        &time,
        path,
        "long_name",
        "time on the rig's clock since the rig controller started",
    )?;
    h5::put_text(&time, path, "axis", "T")?;
    h5::put(&time, path, "scale_factor", &header.tick_s)?;
    h5::make_scale(&time, path, "time")?;
    let mut channels = Vec::with_capacity(header.channels.len());
    for (position, channel) in (0_u32..).zip(&header.channels) {
        let dataset = match channel.width {
            CountWidth::I16 => growing::<i16>(file, path, &channel.name, chunk_rows)?,
            CountWidth::I32 => growing::<i32>(file, path, &channel.name, chunk_rows)?,
        };
        h5::put(&dataset, path, "channel", &position)?;
        describe(&dataset, path, channel)?;
        h5::attach_scale(&dataset, path, &time)?;
        channels.push((dataset, channel.width));
    }
    Ok(Layout { time, channels })
}

fn growing<T: H5Type>(file: &File, path: &Path, name: &str, chunk: usize) -> Result<Dataset, RecordingError> {
    file.new_dataset_builder()
        .chunk((chunk,))
        .shuffle()
        .deflate(1)
        .empty::<T>()
        .shape((0..,))
        .create(name)
        .doing(path, format!("create /{name}"))
}

fn describe(dataset: &Dataset, path: &Path, channel: &ChannelInfo) -> Result<(), RecordingError> {
    h5::put_text(dataset, path, "units", &channel.units)?;
    h5::put_text(dataset, path, "long_name", &channel.long_name)?;
    h5::put(dataset, path, "scale_factor", &channel.scale)?;
    h5::put(dataset, path, "add_offset", &channel.offset)?;
    h5::put(dataset, path, "group_delay_s", &channel.group_delay_s)?;
    // CF wants the range in the type of the packed data.
    match (
        channel.width,
        i16::try_from(channel.raw_min),
        i16::try_from(channel.raw_max),
    ) {
        (CountWidth::I16, Ok(min), Ok(max)) => {
            h5::put(dataset, path, "valid_min", &min)?;
            h5::put(dataset, path, "valid_max", &max)
        }
        _ => {
            h5::put(dataset, path, "valid_min", &channel.raw_min)?;
            h5::put(dataset, path, "valid_max", &channel.raw_max)
        }
    }
}

impl Layout {
    /// Writes rows `first..first + ticks.len()` of `time` and of every channel.
    pub(super) fn write(
        &self,
        path: &Path,
        first: usize,
        ticks: &[i64],
        columns: &[&[i32]],
    ) -> Result<(), RecordingError> {
        extend(&self.time, path, first, ticks)?;
        for ((dataset, width), counts) in self.channels.iter().zip(columns) {
            match width {
                CountWidth::I32 => extend(dataset, path, first, counts)?,
                CountWidth::I16 => {
                    let narrow: Result<Vec<i16>, _> = counts.iter().map(|c| i16::try_from(*c)).collect();
                    let narrow = narrow.map_err(|_| {
                        RecordingError::invalid(
                            path,
                            format!("{}: a count does not fit 16 bits", dataset.name()),
                        )
                    })?;
                    extend(dataset, path, first, &narrow)?;
                }
            }
        }
        Ok(())
    }
}

/// Makes `dataset` long enough and writes `values` from `first` on.
pub(super) fn extend<T: H5Type>(
    dataset: &Dataset,
    path: &Path,
    first: usize,
    values: &[T],
) -> Result<(), RecordingError> {
    let end = first + values.len();
    dataset
        .resize((end,))
        .and_then(|()| dataset.write_slice(ArrayView1::from(values), first..end))
        .doing(path, format!("write rows {first}..{end} of {}", dataset.name()))
}
