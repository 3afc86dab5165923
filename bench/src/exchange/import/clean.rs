//! Rows that can be used, one after another in time; the others are counted and left out.

use super::super::ExchangeError;
use super::bind::Binding;
use super::log::{Code, Log};
use super::source::{DataFile, Fault, Rows};

/// Latest time that can be meant, s: a hundred years, so that seconds since an epoch pass.
const LATEST_S: f64 = 4e9;

/// Usable rows.
#[derive(Debug, Default)]
pub(super) struct Clean {
    /// Row numbers, from 1.
    pub(super) rows: Vec<u64>,
    /// Lines, for text files.
    pub(super) lines: Option<Vec<u64>>,
    /// Time as in the file, s; rising.
    pub(super) t_s: Vec<f64>,
    /// Numbers as in the file, column by column.
    pub(super) columns: Vec<Vec<f64>>,
}

impl Clean {
    /// Where a row is, in words.
    pub(super) fn place(&self, i: usize) -> String {
        let row = self.rows.get(i).copied().unwrap_or(0);
        place(row, self.lines.as_ref().and_then(|lines| lines.get(i)).copied())
    }
}

fn place(row: u64, line: Option<u64>) -> String {
    match line {
        Some(line) => format!("row {row} (line {line})"),
        None => format!("row {row}"),
    }
}

/// Reads rows and leaves out what cannot be used.
pub(super) struct Cleaner<'a> {
    rows: Box<dyn Rows>,
    binding: &'a Binding,
    period_s: Option<f64>,
    last_s: f64,
    /// Rows read.
    pub(super) read: u64,
    /// Rows handed on.
    pub(super) kept: u64,
}

impl<'a> Cleaner<'a> {
    /// `period_s` is the time from row to row if there is no time column.
    pub(super) fn open(
        data: &DataFile,
        binding: &'a Binding,
        period_s: Option<f64>,
    ) -> Result<Self, ExchangeError> {
        Ok(Self {
            rows: data.rows(&binding.wanted)?,
            binding,
            period_s,
            last_s: f64::NEG_INFINITY,
            read: 0,
            kept: 0,
        })
    }

    /// Decimals of the wanted columns so far, time first if there is one.
    pub(super) fn decimals(&self) -> Vec<Option<u32>> {
        self.rows.decimals()
    }

    /// The next usable rows, `None` behind the last; a block may be empty. Faults go to `log` if there is one.
    pub(super) fn next(&mut self, mut log: Option<&mut Log>) -> Result<Option<Clean>, ExchangeError> {
        let Some(mut batch) = self.rows.next()? else {
            return Ok(None);
        };
        let line = |row: usize| batch.lines.as_ref().and_then(|lines| lines.get(row)).copied();
        let mut usable = vec![true; batch.rows];
        for (row, fault) in &batch.faults {
            if let Some(usable) = usable.get_mut(*row) {
                *usable = false;
            }
            let Some(log) = log.as_deref_mut() else { continue };
            let at = place(batch.first_row + *row as u64, line(*row));
            match fault {
                Fault::Fields { got, due, at_end } => log.count(Code::Fields, || {
                    let cut = if *at_end { ", the file ends within it" } else { "" };
                    format!("{at} has {got} fields, {due} are due{cut}")
                }),
                Fault::Cell { column, text } => log.count(Code::Cell, || {
                    format!("{at}, column {:?}: {text}", self.name(*column))
                }),
            }
        }
        let time = match self.binding.time {
            Some((factor, shift)) => {
                let raw = batch.columns.remove(0);
                raw.into_iter().map(|n| factor * n + shift).collect()
            }
            None => {
                let period = self.period_s.unwrap_or(0.0);
                let row = |i: usize| (batch.first_row - 1 + i as u64) as f64;
                (0..batch.rows).map(|i| row(i) * period).collect::<Vec<f64>>()
            }
        };
        for (i, (t, usable)) in time.iter().zip(&mut usable).enumerate() {
            if !*usable {
                continue;
            }
            let meant = t.abs() <= LATEST_S;
            if meant && *t > self.last_s {
                self.last_s = *t;
                continue;
            }
            *usable = false;
            if let (Some(log), false) = (log.as_deref_mut(), meant) {
                let at = place(batch.first_row + i as u64, line(i));
                log.count(Code::Cell, || {
                    format!("{at}, column {:?}: {t} s", self.binding.time_name)
                });
                continue;
            }
            if let Some(log) = log.as_deref_mut() {
                let at = place(batch.first_row + i as u64, line(i));
                let code = if *t < self.last_s {
                    Code::TimeBack
                } else {
                    Code::Duplicate
                };
                let last = self.last_s;
                log.count(code, || match code {
                    Code::TimeBack => format!("{at}: {t} s behind {last} s"),
                    _ => format!("{at}: {t} s"),
                });
            }
        }
        let keep = |i: usize| usable.get(i).copied().unwrap_or(false);
        let kept: Vec<usize> = (0..batch.rows).filter(|i| keep(*i)).collect();
        let pick = |values: &Vec<f64>| kept.iter().filter_map(|i| values.get(*i).copied()).collect();
        let clean = Clean {
            rows: kept.iter().map(|i| batch.first_row + *i as u64).collect(),
            lines: batch
                .lines
                .as_ref()
                .map(|lines| kept.iter().filter_map(|i| lines.get(*i).copied()).collect()),
            t_s: pick(&time),
            columns: batch.columns.iter().map(pick).collect(),
        };
        self.read += batch.rows as u64;
        self.kept += kept.len() as u64;
        Ok(Some(clean))
    }

    /// Name of a wanted column.
    fn name(&self, position: usize) -> &str {
        let before = usize::from(self.binding.time.is_some());
        match position.checked_sub(before) {
            Some(column) => self
                .binding
                .columns
                .get(column)
                .map_or("", |bound| bound.column.name.as_str()),
            None => &self.binding.time_name,
        }
    }
}
