//! Tests in which other programs do most of the work, a browser, an emulated machine, processes that are killed: in one, so that they
//! run side by side.

mod pages_in_a_browser;
mod plain_kernel;
mod real_devices;
mod recording_kills;
