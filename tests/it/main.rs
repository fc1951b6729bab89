//! End-to-end and outside-reference checks, as one program.

mod dispatch;
//! End-to-end checks, one binary.

mod site_file;
