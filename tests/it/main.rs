//! End-to-end and outside-reference checks, as one program.

mod dispatch;
mod replay;
mod series;
mod site_file;
