//! Parts of a rig that a user brings: drives and sensors of their own, and the serial line to them.

#[cfg(target_os = "linux")]
mod own_drive;
#[cfg(target_os = "linux")]
mod own_sensor;
#[cfg(target_os = "linux")]
mod own_sensor_port;
#[cfg(unix)]
mod pty_line;
