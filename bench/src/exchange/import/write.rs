//! The third pass: from usable rows to a sealed recording.

use std::path::Path;

use super::super::ExchangeError;
use super::bind::{Binding, Bound};
use super::clean::Cleaner;
use super::clock::{Grid, Place};
use super::counts::Counts;
use super::map::{Map, Role};
use super::resample::Resampler;
use super::source::DataFile;
use super::steps::StepFinder;
use super::survey::{Second, Survey};
use crate::recording::{
    Block, ChannelInfo, Completion, CountWidth, Header, RecordingWriter, Seal, SegmentRow, lines_name,
};

/// Rows of a block.
const BLOCK_ROWS: usize = 4096;

/// What was written.
#[derive(Debug)]
pub(super) struct Written {
    pub(super) seal: Seal,
    pub(super) rows: u64,
    pub(super) steps_found: u32,
}

/// The channels of the recording.
pub(super) fn channels(binding: &Binding, counts: &[Counts]) -> Vec<ChannelInfo> {
    binding
        .columns
        .iter()
        .zip(counts)
        .map(|(bound, counts)| channel(bound, counts))
        .collect()
}

fn channel(bound: &Bound, counts: &Counts) -> ChannelInfo {
    let (name, long_name, units) = bound.column.role.channel();
    let width = CountWidth::I32;
    let (low, high) = width.range();
    let (scale, offset) = (bound.gain * counts.step, bound.si(counts.base));
    let (raw_min, raw_max) = match bound.column.range_si {
        Some(ends) => {
            let ends = ends.map(|si| ((si - offset) / scale).round());
            let within = |count: f64| count.clamp(f64::from(low), f64::from(high)) as i32;
            (within(ends[0].min(ends[1])), within(ends[0].max(ends[1])))
        }
        None => (low, high),
    };
    ChannelInfo {
        name: name.to_owned(),
        long_name: long_name.to_owned(),
        units: units.to_owned(),
        width,
        scale,
        offset,
        group_delay_s: bound.column.group_delay_s,
        raw_min,
        raw_max,
    }
}

/// The segments that the map declares, as rows of the recording.
pub(super) fn segment_rows(map: &Map, survey: &Survey, second: &Second) -> Vec<SegmentRow> {
    let hold_s = map.hold_s.unwrap_or(survey.clock.period_s);
    let names = map.segment_names();
    let mut repeats = vec![0_u32; names.len()];
    let mut rows = Vec::with_capacity(map.segments.len());
    for (segment, (a, b)) in map.segments.iter().zip(&second.levels) {
        let at = names.iter().position(|n| *n == segment.name).unwrap_or(0);
        let repeat = repeats.get(at).copied().unwrap_or(0);
        if let Some(next) = repeats.get_mut(at) {
            *next += 1;
        }
        let (from_nm, to_nm, amplitude_nm, preload_nm) = if segment.kind.is_about_preload() {
            (*b, *b, *a, *b)
        } else {
            (*a, *b, b - a, *a)
        };
        let periods = segment.periods();
        let duration_s = segment.period_s.unwrap_or(segment.to_s - segment.from_s);
        let tick = |part: u32| match part {
            // Not by way of the period: the end stands in the map.
            part if part == periods => survey.clock.tick(segment.to_s),
            part => survey.clock.tick(segment.from_s + f64::from(part) * duration_s),
        };
        for part in 0..periods {
            rows.push(SegmentRow {
                name: segment.name.clone(),
                excitation: segment.kind.word().to_owned(),
                role: "excite".to_owned(),
                segment: u32::try_from(at).unwrap_or(u32::MAX),
                repeat,
                start_tick: tick(part),
                end_tick: tick(part + 1),
                from_nm,
                to_nm,
                amplitude_nm,
                preload_nm,
                f_start_hz: segment.frequencies_hz[0],
                f_end_hz: segment.frequencies_hz[1],
                duration_s,
                hold_us: (1e6 * hold_s).round() as u32,
            });
        }
    }
    rows
}

/// The lines of multisines, by the names under which fits look for them.
pub(super) fn listed_lines(map: &Map) -> Vec<(String, String)> {
    let first = |name: &&str| map.segments.iter().find(|s| s.name == **name);
    let named = map.segment_names().into_iter().enumerate();
    named
        .filter_map(|(at, name)| {
            let lines = &first(&name)?.lines;
            let words: Vec<String> = lines.iter().map(usize::to_string).collect();
            (!words.is_empty()).then(|| (lines_name(at), words.join(" ")))
        })
        .collect()
}

/// Gathers rows to blocks and finds steps on the way.
struct Sink<'a> {
    writer: &'a mut RecordingWriter,
    counts: &'a [Counts],
    commanded: Option<(usize, &'a Bound)>,
    finder: Option<StepFinder>,
    /// Declared segments that are not written yet, in order of time.
    declared: std::collections::VecDeque<SegmentRow>,
    period: u64,
    block: Block,
    rows: u64,
}

impl Sink<'_> {
    fn put(&mut self, tick: u64, values: &[f64]) -> Result<(), ExchangeError> {
        let due = self.block.first_tick + self.block.rows as u64 * self.period;
        if self.block.rows > 0 && tick != due {
            self.flush()?;
        }
        if self.block.rows == 0 {
            self.block.first_tick = tick;
        }
        for ((column, counts), value) in self.block.columns.iter_mut().zip(self.counts).zip(values) {
            column.push(counts.count(*value));
        }
        self.block.rows += 1;
        self.rows += 1;
        if let (Some(finder), Some((at, bound))) = (&mut self.finder, self.commanded) {
            let command = values.get(at).map_or(f64::NAN, |raw| bound.si(*raw));
            if let Some(row) = finder.take(tick, command) {
                self.segment(&row)?;
            }
        }
        if self.block.rows >= BLOCK_ROWS {
            self.flush()?;
        }
        Ok(())
    }

    /// Writes a step that was found, behind the declared segments that begin earlier.
    fn segment(&mut self, row: &SegmentRow) -> Result<(), ExchangeError> {
        while let Some(first) = self.declared.front() {
            if first.start_tick > row.start_tick {
                break;
            }
            self.writer.segment(first)?;
            self.declared.pop_front();
        }
        Ok(self.writer.segment(row)?)
    }

    fn flush(&mut self) -> Result<(), ExchangeError> {
        self.writer.append(&self.block)?;
        self.block.rows = 0;
        self.block.columns.iter_mut().for_each(Vec::clear);
        Ok(())
    }
}

/// Writes the recording at `path` and seals it.
pub(super) fn write(
    data: &DataFile,
    map: &Map,
    binding: &Binding,
    survey: &Survey,
    second: &Second,
    header: &Header,
    path: &Path,
) -> Result<Written, ExchangeError> {
    let mut writer = RecordingWriter::create(path, header)?;
    let done = fill(data, map, binding, survey, second, &mut writer)
        .and_then(|(rows, steps)| Ok((writer.finish(&Completion::Complete)?, rows, steps)));
    match done {
        Ok((seal, rows, steps_found)) => Ok(Written {
            seal,
            rows,
            steps_found,
        }),
        Err(error) => {
            // It was made a moment ago and holds nothing that the data file does not.
            let _ = std::fs::remove_file(path);
            Err(error)
        }
    }
}

fn fill(
    data: &DataFile,
    map: &Map,
    binding: &Binding,
    survey: &Survey,
    second: &Second,
    writer: &mut RecordingWriter,
) -> Result<(u64, u32), ExchangeError> {
    let clock = survey.clock;
    let commanded = binding
        .columns
        .iter()
        .enumerate()
        .find(|(_, b)| b.column.role == Role::Commanded);
    let finder = map.steps.zip(commanded).map(|(search, (at, bound))| {
        let step = survey.counts.get(at).map_or(0.0, |c| (c.step * bound.gain).abs());
        StepFinder::new(search, 0.75 * step, clock.tick_s, clock.period_ticks)
    });
    let columns = binding.columns.len();
    let mut sink = Sink {
        writer,
        counts: &survey.counts,
        commanded,
        finder,
        declared: segment_rows(map, survey, second).into(),
        period: u64::from(clock.period_ticks),
        block: Block {
            columns: vec![Vec::with_capacity(BLOCK_ROWS); columns],
            ..Block::default()
        },
        rows: 0,
    };
    let mut grid = Grid::new(clock);
    let held = commanded.map(|(at, _)| at);
    let mut even = (second.uneven > 0).then(|| Resampler::new(clock, held, columns));
    let mut cleaner = Cleaner::open(data, binding, map.time.period_s)?;
    while let Some(clean) = cleaner.next(None)? {
        for (i, t) in clean.t_s.iter().enumerate() {
            let row: Vec<f64> = clean
                .columns
                .iter()
                .map(|c| c.get(i).copied().unwrap_or(f64::NAN))
                .collect();
            match &mut even {
                Some(even) => even.take(*t, row, |tick, values| sink.put(tick, values))?,
                None => match grid.put(*t) {
                    Place::Next { tick } | Place::AfterGap { tick, .. } => sink.put(tick, &row)?,
                    Place::Off { .. } => {}
                },
            }
        }
    }
    sink.flush()?;
    let last = sink.finder.as_mut().and_then(StepFinder::end);
    if let Some(row) = last {
        sink.segment(&row)?;
    }
    while let Some(row) = sink.declared.pop_front() {
        sink.writer.segment(&row)?;
    }
    let steps_found = sink.finder.as_ref().map_or(0, |finder| finder.found);
    Ok((sink.rows, steps_found))
}
