//! EnergyPlus weather files: 8 header lines, then rows in local standard time
//! stamped at the end of the hour.
//!
//! Format and codes for missing values: US Department of Energy, *EnergyPlus,
//! Auxiliary Programs*, "EPW CSV Format".

use optimiser::units::{Irradiance, Temperature, WindSpeed};

use super::fault::{Cell, Faults};
use super::typical::{Stamp, TypicalYear, humidity, utc_offset};
use super::{Conditions, WeatherError};

const HEADER_LINES: usize = 8;
/// Of the 35 fields older files lack the last three; a shorter row has lost some.
const FIELDS_NEEDED: usize = 32;

pub(super) fn recognises(text: &str) -> bool {
    text.get(..9).is_some_and(|start| start.eq_ignore_ascii_case("LOCATION,"))
}

pub(super) fn read(text: &str, name: &str) -> Result<TypicalYear, WeatherError> {
    let mut faults = Faults::new(name);
    let header = |line: usize, field: usize| {
        text.lines().nth(line).and_then(|line| line.split(',').nth(field)).unwrap_or_default()
    };
    let offset = utc_offset(1, header(0, 8), &mut faults);
    let per_hour = header(7, 2).trim();
    if !header(7, 0).trim().eq_ignore_ascii_case("DATA PERIODS") || per_hour != "1" {
        faults.add(
            HEADER_LINES,
            "DATA PERIODS",
            per_hour,
            "not one record per hour",
            "use an hourly file with its 8 header lines",
        );
        return Err(faults.refuse());
    }
    let mut year = TypicalYear::new(offset.unwrap_or_default());
    for (index, line) in text.lines().enumerate().skip(HEADER_LINES) {
        if line.trim().is_empty() {
            continue;
        }
        let row = index + 1;
        let fields: Vec<&str> = line.split(',').collect();
        if fields.len() < FIELDS_NEEDED {
            faults.add(
                row,
                "all",
                line,
                format!("{} fields of at least {FIELDS_NEEDED}", fields.len()),
                "restore the row from the source",
            );
            continue;
        }
        let mut irradiance = |column, index: usize| {
            let cell = Cell { row, column, text: Some(fields[index]) };
            faults.quantity(cell, |value| value >= 9_999.0, Irradiance::new)
        };
        let ghi = irradiance("global horizontal radiation", 13);
        let dni = irradiance("direct normal radiation", 14);
        let dhi = irradiance("diffuse horizontal radiation", 15);
        let cell = |column, index: usize| Cell { row, column, text: Some(fields[index]) };
        let conditions = Conditions {
            ghi,
            dni,
            dhi,
            in_plane: None,
            temp_air: faults.quantity(
                cell("dry bulb temperature", 6),
                |value| value >= 99.9,
                Temperature::new,
            ),
            wind: faults.quantity(cell("wind speed", 21), |value| value >= 999.0, WindSpeed::new),
            humidity: faults.quantity(
                cell("relative humidity", 8),
                |value| value >= 999.0,
                humidity,
            ),
        };
        let stamp = Stamp { row, month: fields[1], day: fields[2], hour: fields[3] };
        year.insert(&stamp, conditions, &mut faults);
    }
    if year.stated_hours() == 0 {
        faults.add(HEADER_LINES + 1, "all", "", "no row of weather", "use a whole file");
    }
    faults.end(year)
}
