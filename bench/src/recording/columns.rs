//! Rows as columns: what each kind of row is called in the file, and how it maps to plain cells.

use super::rows::{EventRow, HostRow, RoundTrip, SegmentRow, Source};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Whole numbers, int64.
    Whole,
    /// Real numbers, float64, NaN where nothing applies.
    Real,
    /// UTF-8 text of any length.
    Text,
}

/// One column: `name` of the dataset, `units` (empty if it has none), `long_name`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Column {
    pub(super) name: &'static str,
    pub(super) kind: Kind,
    pub(super) units: &'static str,
    pub(super) long_name: &'static str,
}

/// One value of a row.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Cell {
    Whole(i64),
    Real(f64),
    Text(String),
}

/// A kind of row with its group in the file.
pub(super) trait TableRow: Sized {
    /// Name of the group, and of the row in the journal.
    const GROUP: &'static str;
    /// What the group is, for a person.
    const TITLE: &'static str;
    /// The columns in order.
    const COLUMNS: &'static [Column];
    /// The row's values in the order of the columns, or what does not fit.
    fn cells(&self) -> Result<Vec<Cell>, String>;
    /// The inverse of [`TableRow::cells`].
    fn from_cells(cells: &mut Cells) -> Result<Self, String>;
}

/// Takes a row's values one by one.
pub(super) struct Cells(std::vec::IntoIter<Cell>);

impl Cells {
    pub(super) fn new(cells: Vec<Cell>) -> Self {
        Self(cells.into_iter())
    }

    fn next(&mut self) -> Result<Cell, String> {
        self.0
            .next()
            .ok_or_else(|| "the row has too few values".to_owned())
    }

    fn whole<T: TryFrom<i64>>(&mut self, name: &str) -> Result<T, String> {
        match self.next()? {
            Cell::Whole(v) => T::try_from(v).map_err(|_| format!("{name} = {v} is out of its range")),
            other => Err(format!("{name} = {other:?} is not a whole number")),
        }
    }

    fn real(&mut self, name: &str) -> Result<f64, String> {
        match self.next()? {
            Cell::Real(v) => Ok(v),
            other => Err(format!("{name} = {other:?} is not a real number")),
        }
    }

    fn text(&mut self, name: &str) -> Result<String, String> {
        match self.next()? {
            Cell::Text(v) => Ok(v),
            other => Err(format!("{name} = {other:?} is not a text")),
        }
    }
}

const fn whole(name: &'static str, units: &'static str, long_name: &'static str) -> Column {
    Column {
        name,
        kind: Kind::Whole,
        units,
        long_name,
    }
}

const fn real(name: &'static str, units: &'static str, long_name: &'static str) -> Column {
    Column {
        name,
        kind: Kind::Real,
        units,
        long_name,
    }
}

const fn text(name: &'static str, long_name: &'static str) -> Column {
    Column {
        name,
        kind: Kind::Text,
        units: "",
        long_name,
    }
}

/// A tick as the file keeps it. The file's ticks are signed because common readers handle int64 best.
pub(super) fn tick_to_file(name: &str, tick: u64) -> Result<i64, String> {
    i64::try_from(tick).map_err(|_| {
        format!(
            "{name} = {tick} is above the largest tick a file can hold, {}",
            i64::MAX
        )
    })
}

fn tick_cell(name: &str, tick: u64) -> Result<Cell, String> {
    tick_to_file(name, tick).map(Cell::Whole)
}

impl TableRow for SegmentRow {
    const GROUP: &'static str = "segments";
    const TITLE: &'static str = "repeats of segments as they were played";
    const COLUMNS: &'static [Column] = &[
        text("name", "segment name in the procedure"),
        text("excitation", "kind of excitation"),
        text("role", "what the stretch is for"),
        whole("segment", "1", "position of the segment in the procedure"),
        whole("repeat", "1", "repeat"),
        whole(
            "start_tick",
            "us",
            "rig tick at which the first setpoint came into force",
        ),
        whole(
            "end_tick",
            "us",
            "rig tick at which the last setpoint ceased to be in force",
        ),
        real("from_nm", "N.m", "torque commanded before"),
        real("to_nm", "N.m", "torque commanded at the end"),
        real("amplitude_nm", "N.m", "amplitude of the excitation"),
        real("preload_nm", "N.m", "constant torque under the excitation"),
        real("f_start_hz", "Hz", "lowest or first frequency"),
        real("f_end_hz", "Hz", "highest or last frequency"),
        real("duration_s", "s", "planned duration"),
        whole("hold_us", "us", "how long each setpoint is held"),
    ];

    fn cells(&self) -> Result<Vec<Cell>, String> {
        Ok(vec![
            Cell::Text(self.name.clone()),
            Cell::Text(self.excitation.clone()),
            Cell::Text(self.role.clone()),
            Cell::Whole(self.segment.into()),
            Cell::Whole(self.repeat.into()),
            tick_cell("start_tick", self.start_tick)?,
            tick_cell("end_tick", self.end_tick)?,
            Cell::Real(self.from_nm),
            Cell::Real(self.to_nm),
            Cell::Real(self.amplitude_nm),
            Cell::Real(self.preload_nm),
            Cell::Real(self.f_start_hz),
            Cell::Real(self.f_end_hz),
            Cell::Real(self.duration_s),
            Cell::Whole(self.hold_us.into()),
        ])
    }

    fn from_cells(c: &mut Cells) -> Result<Self, String> {
        Ok(Self {
            name: c.text("name")?,
            excitation: c.text("excitation")?,
            role: c.text("role")?,
            segment: c.whole("segment")?,
            repeat: c.whole("repeat")?,
            start_tick: c.whole("start_tick")?,
            end_tick: c.whole("end_tick")?,
            from_nm: c.real("from_nm")?,
            to_nm: c.real("to_nm")?,
            amplitude_nm: c.real("amplitude_nm")?,
            preload_nm: c.real("preload_nm")?,
            f_start_hz: c.real("f_start_hz")?,
            f_end_hz: c.real("f_end_hz")?,
            duration_s: c.real("duration_s")?,
            hold_us: c.whole("hold_us")?,
        })
    }
}

impl TableRow for EventRow {
    const GROUP: &'static str = "events";
    const TITLE: &'static str = "what happened during the run";
    const COLUMNS: &'static [Column] = &[
        whole("tick", "us", "rig tick"),
        whole("host_ns", "ns", "host monotonic time"),
        text("source", "who noticed: rig or bench"),
        text("code", "short stable code"),
        text("text", "sentence a person reads"),
    ];

    fn cells(&self) -> Result<Vec<Cell>, String> {
        Ok(vec![
            tick_cell("tick", self.tick)?,
            Cell::Whole(self.host_ns),
            Cell::Text(self.source.as_str().to_owned()),
            Cell::Text(self.code.clone()),
            Cell::Text(self.text.clone()),
        ])
    }

    fn from_cells(c: &mut Cells) -> Result<Self, String> {
        Ok(Self {
            tick: c.whole("tick")?,
            host_ns: c.whole("host_ns")?,
            source: match c.text("source")?.as_str() {
                "rig" => Source::Rig,
                "bench" => Source::Bench,
                other => return Err(format!("source = {other:?}, `rig` or `bench` is due")),
            },
            code: c.text("code")?,
            text: c.text("text")?,
        })
    }
}

impl TableRow for HostRow {
    const GROUP: &'static str = "host";
    const TITLE: &'static str = "arrival of each batch of samples at the host";
    const COLUMNS: &'static [Column] = &[
        whole("first_tick", "us", "rig tick of the batch's last sample"),
        whole("host_ns", "ns", "host monotonic time of arrival"),
    ];

    fn cells(&self) -> Result<Vec<Cell>, String> {
        Ok(vec![
            tick_cell("first_tick", self.first_tick)?,
            Cell::Whole(self.host_ns),
        ])
    }

    fn from_cells(c: &mut Cells) -> Result<Self, String> {
        Ok(Self {
            first_tick: c.whole("first_tick")?,
            host_ns: c.whole("host_ns")?,
        })
    }
}

impl TableRow for RoundTrip {
    const GROUP: &'static str = "round_trips";
    const TITLE: &'static str = "questions and answers over the link";
    const COLUMNS: &'static [Column] = &[
        whole(
            "host_send_ns",
            "ns",
            "host monotonic time at which the question was written",
        ),
        whole(
            "host_receive_ns",
            "ns",
            "host monotonic time at which the answer was read",
        ),
        whole("rig_tick", "us", "rig tick in the answer"),
    ];

    fn cells(&self) -> Result<Vec<Cell>, String> {
        Ok(vec![
            Cell::Whole(self.host_send_ns),
            Cell::Whole(self.host_receive_ns),
            tick_cell("rig_tick", self.rig_tick)?,
        ])
    }

    fn from_cells(c: &mut Cells) -> Result<Self, String> {
        Ok(Self {
            host_send_ns: c.whole("host_send_ns")?,
            host_receive_ns: c.whole("host_receive_ns")?,
            rig_tick: c.whole("rig_tick")?,
        })
    }
}

/// A name and a text: a file the run was made from.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FileRow(pub(super) String, pub(super) String);

impl TableRow for FileRow {
    const GROUP: &'static str = "files";
    const TITLE: &'static str = "files the run was made from, verbatim";
    const COLUMNS: &'static [Column] = &[text("name", "file name"), text("text", "verbatim text")];

    fn cells(&self) -> Result<Vec<Cell>, String> {
        Ok(vec![Cell::Text(self.0.clone()), Cell::Text(self.1.clone())])
    }

    fn from_cells(c: &mut Cells) -> Result<Self, String> {
        Ok(Self(c.text("name")?, c.text("text")?))
    }
}

/// A name and a value worth keeping.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ExtraRow(pub(super) String, pub(super) String);

impl TableRow for ExtraRow {
    const GROUP: &'static str = "extra";
    const TITLE: &'static str = "further names and values";
    const COLUMNS: &'static [Column] = &[text("name", "name"), text("value", "value")];

    fn cells(&self) -> Result<Vec<Cell>, String> {
        Ok(vec![Cell::Text(self.0.clone()), Cell::Text(self.1.clone())])
    }

    fn from_cells(c: &mut Cells) -> Result<Self, String> {
        Ok(Self(c.text("name")?, c.text("value")?))
    }
}

/// The digest of one object of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DigestRow {
    pub(super) object: String,
    pub(super) sha256: String,
}

impl TableRow for DigestRow {
    const GROUP: &'static str = "seal";
    const TITLE: &'static str = "digest of each object of this file";
    const COLUMNS: &'static [Column] = &[
        text("object", "path of the object"),
        text("sha256", "SHA-256 over its canonical form, hexadecimal"),
    ];

    fn cells(&self) -> Result<Vec<Cell>, String> {
        Ok(vec![
            Cell::Text(self.object.clone()),
            Cell::Text(self.sha256.clone()),
        ])
    }

    fn from_cells(c: &mut Cells) -> Result<Self, String> {
        Ok(Self {
            object: c.text("object")?,
            sha256: c.text("sha256")?,
        })
    }
}
