//! Averaged spectra of long records, as `scipy.signal` defines them.
