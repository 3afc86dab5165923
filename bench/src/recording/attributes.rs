//! The header as attributes of the root group: one list, walked for writing and for reading.

use std::path::Path;

use hdf5_metno::Location;

use super::error::RecordingError;
use super::h5::{self, Explain};
use super::header::Header;

/// What is done with each attribute.
trait Visit {
    fn text(&mut self, name: &str, value: &mut String) -> Result<(), RecordingError>;
    fn real(&mut self, name: &str, value: &mut f64) -> Result<(), RecordingError>;
    /// A number that recordings of earlier versions do not have; not declared there.
    fn later(&mut self, name: &str, value: &mut f64) -> Result<(), RecordingError>;
    /// A text that recordings of earlier versions do not have; empty there.
    fn later_text(&mut self, name: &str, value: &mut String) -> Result<(), RecordingError>;
    fn ticks(&mut self, name: &str, value: &mut u32) -> Result<(), RecordingError>;
    fn seed(&mut self, name: &str, value: &mut u64) -> Result<(), RecordingError>;
}

/// Every scalar field of the header under its name in the file.
fn walk(h: &mut Header, v: &mut impl Visit) -> Result<(), RecordingError> {
    v.text("run_id", &mut h.run_id)?;
    v.text("created", &mut h.created)?;
    v.text("operator", &mut h.operator)?;
    v.text("mounting", &mut h.mounting)?;
    v.text("software_name", &mut h.software.name)?;
    v.text("software_version", &mut h.software.version)?;
    v.text("software_build", &mut h.software.build)?;
    v.text("unit_model", &mut h.unit.model)?;
    v.text("unit_serial", &mut h.unit.serial)?;
    v.text("unit_firmware", &mut h.unit.firmware)?;
    v.text("rig_name", &mut h.rig.name)?;
    v.text("rig_kind", &mut h.rig.kind)?;
    v.text("rig_emergency_stop", &mut h.rig.emergency_stop)?;
    v.text("rig_fixture", &mut h.rig.fixture)?;
    v.real(
        "rig_fixture_stiffness_nm_per_rad",
        &mut h.rig.fixture_stiffness_nm_per_rad,
    )?;
    v.real("rig_full_scale_nm", &mut h.rig.full_scale_nm)?;
    v.real("rig_update_period_s", &mut h.rig.update_period_s)?;
    v.later("rig_slew_nm_per_s", &mut h.rig.slew_nm_per_s)?;
    v.text("sensor_model", &mut h.sensor.model)?;
    v.text("sensor_serial", &mut h.sensor.serial)?;
    v.real("sensor_range_nm", &mut h.sensor.range_nm)?;
    v.real("sensor_stiffness_nm_per_rad", &mut h.sensor.stiffness_nm_per_rad)?;
    v.text("sensor_calibrated", &mut h.sensor.calibrated)?;
    v.text("sensor_due", &mut h.sensor.due)?;
    v.text("sensor_certificate", &mut h.sensor.certificate)?;
    v.real("sensor_gain_uncertainty", &mut h.sensor.gain_uncertainty)?;
    v.real("sensor_zero_uncertainty_nm", &mut h.sensor.zero_uncertainty_nm)?;
    v.real("sensor_delay_uncertainty_s", &mut h.sensor.delay_uncertainty_s)?;
    v.ticks("sample_period_ticks", &mut h.sample_period_ticks)?;
    v.real("tick_s", &mut h.tick_s)?;
    v.seed("seed", &mut h.seed)?;
    v.later_text("faults", &mut h.faults)
}

struct Writing<'a>(&'a Location, &'a Path);

impl Visit for Writing<'_> {
    fn text(&mut self, name: &str, value: &mut String) -> Result<(), RecordingError> {
        h5::put_text(self.0, self.1, name, value)
    }
    fn real(&mut self, name: &str, value: &mut f64) -> Result<(), RecordingError> {
        h5::put(self.0, self.1, name, value)
    }
    fn later(&mut self, name: &str, value: &mut f64) -> Result<(), RecordingError> {
        self.real(name, value)
    }
    fn later_text(&mut self, name: &str, value: &mut String) -> Result<(), RecordingError> {
        self.text(name, value)
    }
    fn ticks(&mut self, name: &str, value: &mut u32) -> Result<(), RecordingError> {
        h5::put(self.0, self.1, name, value)
    }
    fn seed(&mut self, name: &str, value: &mut u64) -> Result<(), RecordingError> {
        h5::put(self.0, self.1, name, value)
    }
}

struct Reading<'a>(&'a Location, &'a Path);

impl Reading<'_> {
    fn has(&self, name: &str) -> Result<bool, RecordingError> {
        let names = self
            .0
            .attr_names()
            .doing(self.1, "list the attributes of the root")?;
        Ok(names.iter().any(|there| there == name))
    }
}

impl Visit for Reading<'_> {
    fn text(&mut self, name: &str, value: &mut String) -> Result<(), RecordingError> {
        *value = h5::get_text(self.0, self.1, name)?;
        Ok(())
    }
    fn real(&mut self, name: &str, value: &mut f64) -> Result<(), RecordingError> {
        *value = h5::get(self.0, self.1, name)?;
        Ok(())
    }
    fn later(&mut self, name: &str, value: &mut f64) -> Result<(), RecordingError> {
        if self.has(name)? {
            return self.real(name, value);
        }
        *value = f64::NAN;
        Ok(())
    }
    fn later_text(&mut self, name: &str, value: &mut String) -> Result<(), RecordingError> {
        if self.has(name)? {
            return self.text(name, value);
        }
        value.clear();
        Ok(())
    }
    fn ticks(&mut self, name: &str, value: &mut u32) -> Result<(), RecordingError> {
        *value = h5::get(self.0, self.1, name)?;
        Ok(())
    }
    fn seed(&mut self, name: &str, value: &mut u64) -> Result<(), RecordingError> {
        *value = h5::get(self.0, self.1, name)?;
        Ok(())
    }
}

/// Writes the header's scalar fields.
pub(super) fn write(root: &Location, path: &Path, header: &Header) -> Result<(), RecordingError> {
    walk(&mut header.clone(), &mut Writing(root, path))
}

/// Reads the header's scalar fields; files, channels and extra are left empty.
pub(super) fn read(root: &Location, path: &Path) -> Result<Header, RecordingError> {
    let mut header = Header::default();
    walk(&mut header, &mut Reading(root, path))?;
    Ok(header)
}
