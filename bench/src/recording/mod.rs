//! Recordings: the HDF5 file of one run, raw counts, written once and sealed.
//!
//! Signatures (see the types for their meaning):
//!
//! ```text
//! RecordingWriter::create(path: &Path, header: &Header) -> Result<RecordingWriter, RecordingError>
//!   append(&mut self, &Block)  segment(&mut self, &SegmentRow)  event(&mut self, &EventRow)
//!   host(&mut self, &HostRow)  round_trip(&mut self, &RoundTrip)  flush(&mut self)   -> Result<(), RecordingError>
//!   finish(self, &Completion) -> Result<Seal, RecordingError>
//! RecorderThread::start(writer, messages_per_s: f64, when_full: WhenFull) -> Result<RecorderThread, RecordingError>
//!   block(&self, Block)  segment(&self, SegmentRow)  event(&self, EventRow)
//!   host(&self, HostRow)  round_trip(&self, RoundTrip) -> Result<(), RecordingError>
//!   high_water(&self) -> usize;  finish(self, Completion) -> Result<Seal, RecordingError>
//! Recording::open(path: &Path) -> Result<Recording, RecordingError>
//!   header() -> &Header   rows() -> usize   completion() -> Option<&Completion>   seal() -> Option<&Seal>
//!   ticks(Range<usize>) -> Result<Array1<u64>, _>   raw(channel, Range<usize>) -> Result<Array1<i32>, _>
//!   values(channel, Range<usize>) -> Result<Array1<f64>, _>   rows_between(start_tick, end_tick) -> Result<Range<usize>, _>
//!   segments() -> &[SegmentRow]   events() -> &[EventRow]   host() -> &[HostRow]   round_trips() -> &[RoundTrip]
//! verify(path) -> Result<Verification, RecordingError>
//! recover(damaged: &Path, to: &Path) -> Result<Seal, RecordingError>
//! ```

mod error;
mod header;
mod rows;

pub use error::RecordingError;
pub use header::{ChannelInfo, CountWidth, Header, RigInfo, Sensor, Software, Unit};
pub use rows::{Block, Completion, EventRow, HostRow, RoundTrip, Seal, SegmentRow, Source};
