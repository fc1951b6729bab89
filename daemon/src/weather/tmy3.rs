//! TMY3 files: a line on the station, a line of headers, then rows in local
//! standard time stamped at the end of the hour.
//!
//! Format: S. Wilcox and W. Marion, *Users Manual for TMY3 Data Sets*,
//! NREL/TP-581-43156, 2008.

use optimiser::units::{Irradiance, Temperature, WindSpeed};

use super::fault::{Cell, Faults};
use super::typical::{Stamp, TypicalYear, humidity, utc_offset};
use super::{Conditions, WeatherError};

const DATE: &str = "Date (MM/DD/YYYY)";
const TIME: &str = "Time (HH:MM)";
const GHI: &str = "GHI (W/m^2)";
const DNI: &str = "DNI (W/m^2)";
const DHI: &str = "DHI (W/m^2)";
const DRY_BULB: &str = "Dry-bulb (C)";
const HUMIDITY: &str = "RHum (%)";
const WIND: &str = "Wspd (m/s)";

pub(super) fn recognises(text: &str) -> bool {
    text.lines().nth(1).is_some_and(|line| line.starts_with(DATE))
}

pub(super) fn read(text: &str, name: &str) -> Result<TypicalYear, WeatherError> {
    let mut faults = Faults::new(name);
    let mut lines = text.lines().enumerate();
    // The name of the station may hold a comma, so the fields count from the end:
    // time zone, latitude, longitude, elevation.
    let station = lines.next().map_or("", |(_, line)| line);
    let zone = station.rsplit(',').nth(3).unwrap_or_default();
    let offset = utc_offset(1, zone, &mut faults);
    let headers: Vec<&str> =
        lines.next().map_or("", |(_, line)| line).split(',').map(str::trim).collect();
    let place = |column: &str| headers.iter().position(|header| *header == column);
    for column in [TIME, GHI, DRY_BULB, WIND] {
        if place(column).is_none() {
            faults.add(2, column, "", "no such column", "use the file as published");
        }
    }
    let mut year = TypicalYear::new(offset.unwrap_or_default());
    for (index, line) in lines.filter(|(_, line)| !line.trim().is_empty()) {
        let row = index + 1;
        let fields: Vec<&str> = line.split(',').collect();
        let text = |column: &str| place(column).and_then(|index| fields.get(index).copied());
        let cell = |column| Cell { row, column, text: text(column) };
        let missing = |value: f64| value <= -9_900.0;
        let mut irradiance = |column| faults.quantity(cell(column), missing, Irradiance::new);
        let conditions = Conditions {
            ghi: irradiance(GHI),
            dni: irradiance(DNI),
            dhi: irradiance(DHI),
            in_plane: None,
            temp_air: faults.quantity(cell(DRY_BULB), missing, Temperature::new),
            wind: faults.quantity(cell(WIND), missing, WindSpeed::new),
            humidity: faults.quantity(cell(HUMIDITY), missing, humidity),
        };
        let mut date = text(DATE).unwrap_or_default().split('/');
        let (month, day) = (date.next().unwrap_or_default(), date.next().unwrap_or_default());
        let hour = text(TIME).and_then(|time| time.trim().strip_suffix(":00")).unwrap_or_default();
        year.insert(&Stamp { row, month, day, hour }, conditions, &mut faults);
    }
    if year.stated_hours() == 0 {
        faults.add(3, "all", "", "no row of weather", "use a whole file");
    }
    faults.end(year)
}
