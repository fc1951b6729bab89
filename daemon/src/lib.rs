//! The program around the optimiser: site file, series, command line, service.

pub mod assemble;
pub mod cli;
pub mod house;
pub mod local_time;
pub mod present;
pub mod replay;
pub mod report;
pub mod series;
pub mod service;
pub mod site_file;
pub mod size;
pub mod tariff;
pub mod weather;
