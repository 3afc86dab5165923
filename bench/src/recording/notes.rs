//! The tables that grow with the length of a run: read when asked, a piece at a time.

use std::path::Path;

use hdf5_metno::Dataset;

use super::columns::TableRow;
use super::error::RecordingError;
use super::journal::{self, Lines, Stored};
use super::rows::{HostRow, RoundTrip};
use super::table::Table;

/// Where the rows of `host` and `round_trips` are.
pub(super) enum Notes {
    /// In the first `bytes` bytes of a live file's journal.
    Journal {
        dataset: Dataset,
        bytes: usize,
        host: usize,
        round_trips: usize,
    },
    /// In the tables of a sealed file.
    Tables {
        host: Table<HostRow>,
        round_trips: Table<RoundTrip>,
    },
}

impl Notes {
    pub(super) fn host<'a>(&'a self, path: &'a Path) -> Rows<'a, HostRow> {
        match self {
            Self::Journal {
                dataset, bytes, host, ..
            } => Rows::lines(path, dataset, *bytes, *host),
            Self::Tables { host, .. } => Rows::table(path, host),
        }
    }

    pub(super) fn round_trips<'a>(&'a self, path: &'a Path) -> Rows<'a, RoundTrip> {
        match self {
            Self::Journal {
                dataset,
                bytes,
                round_trips,
                ..
            } => Rows::lines(path, dataset, *bytes, *round_trips),
            Self::Tables { round_trips, .. } => Rows::table(path, round_trips),
        }
    }
}

/// Rows of one kind, in the order in which they were written. The first error ends them.
pub(super) struct Rows<'a, T> {
    path: &'a Path,
    source: Source<'a, T>,
    left: usize,
}

enum Source<'a, T> {
    Lines(Lines<Stored<'a>>),
    Table {
        table: &'a Table<T>,
        /// First row not yet read.
        next: usize,
        piece: std::vec::IntoIter<T>,
    },
}

impl<'a, T: TableRow> Rows<'a, T> {
    fn lines(path: &'a Path, dataset: &'a Dataset, bytes: usize, rows: usize) -> Self {
        Self {
            path,
            source: Source::Lines(Lines::new(Stored { path, dataset }, bytes)),
            left: rows,
        }
    }

    fn table(path: &'a Path, table: &'a Table<T>) -> Self {
        Self {
            path,
            left: table.rows(),
            source: Source::Table {
                table,
                next: 0,
                piece: Vec::new().into_iter(),
            },
        }
    }

    fn one(&mut self) -> Result<Option<T>, RecordingError> {
        match &mut self.source {
            Source::Lines(lines) => journal::next_row(self.path, lines),
            Source::Table { table, next, piece } => {
                if piece.len() == 0 {
                    let rows = table.read_from(*next)?;
                    *next += rows.len();
                    *piece = rows.into_iter();
                }
                Ok(piece.next())
            }
        }
    }
}

impl<T: TableRow> Iterator for Rows<'_, T> {
    type Item = Result<T, RecordingError>;

    fn next(&mut self) -> Option<Self::Item> {
        self.left = self.left.checked_sub(1)?;
        let row = self.one().transpose().unwrap_or_else(|| {
            let what = "has fewer rows than when the file was opened".to_owned();
            Err(RecordingError::damaged(self.path, format!("/{}", T::GROUP), what))
        });
        if row.is_err() {
            self.left = 0;
        }
        Some(row)
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        (self.left, Some(self.left))
    }
}

impl<T: TableRow> ExactSizeIterator for Rows<'_, T> {}
