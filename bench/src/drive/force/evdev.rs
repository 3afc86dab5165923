//! Force feedback through Linux's input subsystem (Documentation/input/ff.rst of the kernel).
//!
//! The device is opened for this program alone (`EVIOCGRAB`), its autocentre spring is switched off and its gain set, and one
//! constant-force effect is played whose level is changed in place. The effect has a length: a device that is not told to play it again stops by
//! itself, so a program that hangs leaves no torque behind. When the program ends, however it ends, the kernel erases its effects.

use std::io::{Error, ErrorKind};
use std::path::Path;

use bench_core::rig::ForceFeedback;
use evdev::raw_stream::RawDevice;
use evdev::{
    AbsoluteAxisCode, FFEffect, FFEffectCode, FFEffectData, FFEffectKind, FFEnvelope, FFReplay, FFTrigger,
};

use super::Push;

/// Direction of a force along the first axis (0x4000 is 90 degrees; ff.rst and input.h).
const ALONG_X: u16 = 0x4000;

/// A force-feedback wheelbase. The library's plain device is used: its other one writes to standard error when it is lost.
pub struct Wheel {
    device: RawDevice,
    effect: FFEffect,
    length_ms: u16,
    playing: bool,
    name: String,
}

impl Wheel {
    /// Takes a device for this program alone and prepares it: no torque yet.
    ///
    /// # Errors
    /// What the system said, or that the device has no constant force.
    pub fn open(declared: &ForceFeedback) -> std::io::Result<Self> {
        let mut device = RawDevice::open(&declared.device)?;
        let can = |code: FFEffectCode| device.supported_ff().is_some_and(|known| known.contains(code));
        if !can(FFEffectCode::FF_CONSTANT) {
            let why = "it takes no constant force: another device, or its driver has no force feedback";
            return Err(Error::new(ErrorKind::Unsupported, why));
        }
        let (autocentre, gain) = (can(FFEffectCode::FF_AUTOCENTER), can(FFEffectCode::FF_GAIN));
        device.grab()?;
        if autocentre {
            device.set_ff_autocenter(0)?;
        }
        if gain {
            device.set_ff_gain((declared.gain * f64::from(u16::MAX)).round() as u16)?;
        } else if declared.gain < 1.0 {
            let why = "its gain cannot be set: leave rig.drive.gain out";
            return Err(Error::new(ErrorKind::Unsupported, why));
        }
        let length_ms = (declared.expiry_s * 1e3).round() as u16;
        let effect = device.upload_ff_effect(constant(0, length_ms))?;
        let name = device.name().unwrap_or("a device without a name").to_owned();
        Ok(Self {
            device,
            effect,
            length_ms,
            playing: false,
            name,
        })
    }
}

const fn constant(level: i16, length_ms: u16) -> FFEffectData {
    FFEffectData {
        direction: ALONG_X,
        trigger: FFTrigger {
            button: 0,
            interval: 0,
        },
        replay: FFReplay {
            length: length_ms,
            delay: 0,
        },
        kind: FFEffectKind::Constant {
            level,
            envelope: FFEnvelope {
                attack_length: 0,
                attack_level: 0,
                fade_length: 0,
                fade_level: 0,
            },
        },
    }
}

impl Push for Wheel {
    fn set(&mut self, level: i16, renew: bool) -> std::io::Result<()> {
        self.effect.update(constant(level, self.length_ms))?;
        if renew || !self.playing {
            self.effect.play(1)?;
            self.playing = true;
        }
        Ok(())
    }

    fn release(&mut self) -> std::io::Result<()> {
        self.playing = false;
        // Both are tried: either ends the torque.
        let zero = self.effect.update(constant(0, self.length_ms));
        self.effect.stop().and(zero)
    }

    fn name(&self) -> String {
        self.name.clone()
    }
}

impl Drop for Wheel {
    fn drop(&mut self) {
        let _ = self.release();
        let _ = self.device.ungrab();
        // The effect is erased when it is dropped, after this.
    }
}

/// The angle of a device's own first axis.
pub struct Axis {
    device: RawDevice,
    axis: usize,
    /// Angle of one count, rad.
    pub scale_rad: f64,
}

impl Axis {
    /// Opens it beside whoever has the device: reading states takes no events away.
    ///
    /// # Errors
    /// What the system said, or that the device has no such axis.
    pub fn open(path: impl AsRef<Path>, from_end_to_end_rad: f64) -> std::io::Result<Self> {
        let device = RawDevice::open(path)?;
        let axes = [AbsoluteAxisCode::ABS_X, AbsoluteAxisCode::ABS_WHEEL];
        let has = |axis: &AbsoluteAxisCode| {
            device
                .supported_absolute_axes()
                .is_some_and(|known| known.contains(*axis))
        };
        let missing = || {
            Error::new(
                ErrorKind::Unsupported,
                "it has no steering axis (ABS_X, ABS_WHEEL)",
            )
        };
        let axis = usize::from(axes.into_iter().find(has).ok_or_else(missing)?.0);
        let states = device.get_abs_state()?;
        let range = states.get(axis).map_or(0, |state| state.maximum - state.minimum);
        if range < 1 {
            return Err(Error::new(
                ErrorKind::Unsupported,
                "its steering axis has no range",
            ));
        }
        Ok(Self {
            device,
            axis,
            scale_rad: from_end_to_end_rad / f64::from(range),
        })
    }

    /// Counts now.
    ///
    /// # Errors
    /// What the system said; the device may be gone.
    pub fn counts(&self) -> std::io::Result<i32> {
        let states = self.device.get_abs_state()?;
        let gone = || Error::from(ErrorKind::NotFound);
        states.get(self.axis).map(|state| state.value).ok_or_else(gone)
    }
}
