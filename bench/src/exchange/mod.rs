//! Data of other programs: in, as a recording that every fit can read, and out, as a table.
//!
//! [`import`] reads CSV, Parquet, NumPy, MATLAB and HDF5 data as a [`Map`] describes them and makes a sealed recording
//! that says it was imported, from which file, by which map, and what was repaired. [`export`] writes a recording's
//! channels as CSV, Parquet or npz. `docs/importing.md` shows both.

mod apart;
mod error;
mod export;
mod import;

pub use apart::{Ended, limit, limit_to, run_apart};
pub use error::{Defect, ExchangeError, Refusal};
pub use export::{Exported, Format, Selection, export, write_map};
pub use import::{AxisSeries, ColumnOf, Imported, Map, Repairs, TextStyle, import, read_axis};
