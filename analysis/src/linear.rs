//! Small dense linear algebra: just what the fits need.
