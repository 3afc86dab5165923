//! Dimension scales: which dataset is the coordinate of which axis.
//!
//! The only foreign calls of the module. The two functions live in HDF5's high-level library and are not declared by
//! the crates we use, so they are declared here as in `hdf5_hl.h` / `H5DSpublic.h`.
#![allow(unsafe_code)]

use std::ffi::{CString, c_char, c_int, c_uint};

use hdf5_metno::{Dataset, sync::sync};
use hdf5_metno_sys::h5i::hid_t;

unsafe extern "C" {
    fn H5DSset_scale(dsid: hid_t, dimname: *const c_char) -> c_int;
    fn H5DSattach_scale(did: hid_t, dsid: hid_t, idx: c_uint) -> c_int;
}

/// Makes `dataset` a dimension scale called `name`.
///
/// # Errors
/// What the library refused, in words.
pub(super) fn make_scale(dataset: &Dataset, name: &str) -> Result<(), String> {
    let c_name = CString::new(name).map_err(|_| format!("the name {name:?} holds a NUL"))?;
    // SAFETY: the declaration matches H5DSpublic.h (herr_t is int, hid_t is the 64-bit identifier of the linked
    // library, taken from the same `-sys` crate). `dataset` is borrowed, so its identifier stays open over the call;
    // `c_name` outlives it and is only read. `sync` initialises the library and holds the process-wide lock under
    // which every other HDF5 call of the process runs, so the not thread-safe library is entered by one thread.
    let status = sync(|| unsafe { H5DSset_scale(dataset.id(), c_name.as_ptr()) });
    if status < 0 {
        Err(format!("H5DSset_scale({name}) returned {status}"))
    } else {
        Ok(())
    }
}

/// Attaches `scale` to the first (and only) axis of `dataset`.
///
/// # Errors
/// What the library refused, in words.
pub(super) fn attach_scale(dataset: &Dataset, scale: &Dataset) -> Result<(), String> {
    // SAFETY: as above; both datasets are borrowed, so both identifiers stay open over the call, and axis 0 exists or
    // the library returns an error.
    let status = sync(|| unsafe { H5DSattach_scale(dataset.id(), scale.id(), 0) });
    if status < 0 {
        Err(format!("H5DSattach_scale returned {status}"))
    } else {
        Ok(())
    }
}
