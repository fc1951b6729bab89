//! End-to-end and outside-reference checks, as one program.

mod agreement;
mod dispatch;
mod every_day;
mod habits;
mod series;
mod site_file;
