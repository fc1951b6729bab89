//! The program around the optimiser: site file, series, command line, service.

pub mod house;
pub mod site_file;
pub mod tariff;
pub mod weather;
