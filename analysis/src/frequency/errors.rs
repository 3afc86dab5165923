//! Normalised random errors of spectral estimates (Bendat and Piersol, Random Data, 4th ed., table 9.6).
//!
//! `coherence` is the ordinary coherence, `averages` the number of independent averages. A coherence of zero gives an
//! infinite error, as it should.

/// Magnitude of a frequency response, relative: `sqrt((1 - g2) / (2 n g2))`.
pub fn magnitude_error(coherence: f64, averages: f64) -> f64 {
    ((1.0 - coherence).max(0.0) / (2.0 * averages * coherence)).sqrt()
}

/// Phase of a frequency response, rad: the magnitude's relative error, at most what an unknown phase has (`π/√3`).
pub fn phase_error_rad(coherence: f64, averages: f64) -> f64 {
    magnitude_error(coherence, averages).min(std::f64::consts::PI / 3.0_f64.sqrt())
}

/// Coherence, relative: `sqrt(2) (1 - g2) / sqrt(n g2)`.
pub fn coherence_error(coherence: f64, averages: f64) -> f64 {
    2.0_f64.sqrt() * (1.0 - coherence) / (averages * coherence).sqrt()
}

/// Auto-spectrum, relative: `1 / sqrt(n)`.
pub fn auto_spectrum_error(averages: f64) -> f64 {
    1.0 / averages.sqrt()
}

/// Magnitude of a cross-spectrum, relative: `1 / sqrt(n g2)`.
pub fn cross_spectrum_error(coherence: f64, averages: f64) -> f64 {
    1.0 / (averages * coherence).sqrt()
}
