//! Non-linear least squares.
