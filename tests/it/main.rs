//! End-to-end checks, one binary.

mod site_file;
