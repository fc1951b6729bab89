//! End-to-end and outside-reference checks, as one program.

mod agreement;
mod dispatch;
mod series;
mod site_file;
