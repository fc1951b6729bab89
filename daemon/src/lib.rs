//! The program around the optimiser: site file, series, command line, service.

pub mod house;
pub mod present;
pub mod tariff;
