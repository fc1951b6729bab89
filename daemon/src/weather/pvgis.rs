//! Hourly output of PVGIS (`seriescalc`), CSV and JSON.
//!
//! Stamps are UTC with a minute that tells when in the hour the satellite
//! looked; a row stands for the hour that holds its stamp. Format: European
//! Commission, Joint Research Centre, PVGIS user manual, "Hourly radiation".

use chrono::NaiveDateTime;
use optimiser::time::{Instant, Slot};
use optimiser::units::{Irradiance, Temperature, WindSpeed};
use serde_json::Value;

use super::fault::{Cell, Faults};
use super::{Conditions, Weather, WeatherError};

const HOURLY_REMEDY: &str = "ask for hourly radiation (seriescalc); a typical year comes as EPW";

pub(super) fn recognises_csv(text: &str) -> bool {
    text.starts_with("Latitude (decimal degrees):")
}

pub(super) fn recognises_json(text: &str) -> bool {
    text.trim_start().starts_with('{')
}

pub(super) fn read_csv(text: &str, name: &str) -> Result<Weather, WeatherError> {
    let mut faults = Faults::new(name);
    let mut lines = text.lines().enumerate();
    let mut flat = false;
    let headers: Vec<&str> = loop {
        match lines.next() {
            Some((_, line)) if line.starts_with("time,") => {
                break line.split(',').map(str::trim).collect();
            }
            Some((_, line)) => {
                if let Some(slope) = line.strip_prefix("Slope:") {
                    flat = slope.split_whitespace().next().is_some_and(is_zero);
                }
            }
            None => {
                faults.add(1, "time", "", "no line of headers that begins `time,`", HOURLY_REMEDY);
                return Err(faults.refuse());
            }
        }
    };
    let mut rows = Rows::new(flat);
    for (index, line) in lines {
        // The first empty line ends the table, a footer on the columns follows.
        if line.trim().is_empty() {
            break;
        }
        let fields: Vec<&str> = line.split(',').map(str::trim).collect();
        let field = |column: &str| {
            headers
                .iter()
                .position(|header| *header == column)
                .and_then(|index| fields.get(index))
                .map(|text| (*text).to_owned())
        };
        rows.add(index + 1, field, &mut faults);
    }
    rows.end(faults)
}

pub(super) fn read_json(text: &str, name: &str) -> Result<Weather, WeatherError> {
    let mut faults = Faults::new(name);
    let document: Value = match serde_json::from_str(text) {
        Ok(document) => document,
        Err(error) => {
            faults.add(error.line(), "all", "", error.to_string(), "fetch the file again");
            return Err(faults.refuse());
        }
    };
    let Some(entries) = document.pointer("/outputs/hourly").and_then(Value::as_array) else {
        faults.add(1, "outputs.hourly", "", "no such list", HOURLY_REMEDY);
        return Err(faults.refuse());
    };
    let slope = document.pointer("/inputs/mounting_system/fixed/slope/value");
    let mut rows = Rows::new(slope.is_some_and(|slope| is_zero(&slope.to_string())));
    for (index, entry) in entries.iter().enumerate() {
        let field = |column: &str| match entry.get(column)? {
            Value::Null => None,
            Value::String(text) => Some(text.clone()),
            other => Some(other.to_string()),
        };
        rows.add(index + 1, field, &mut faults);
    }
    rows.end(faults)
}

fn is_zero(text: &str) -> bool {
    text.parse::<f64>().is_ok_and(|value| value.abs() < 1e-9)
}

/// Rows as they are read, in whichever form.
struct Rows {
    /// Whether the plane lies flat, so that its irradiance is the horizontal one.
    flat: bool,
    rows: Vec<(Slot, Conditions)>,
}

impl Rows {
    fn new(flat: bool) -> Self {
        Self { flat, rows: Vec::new() }
    }

    fn add(&mut self, row: usize, field: impl Fn(&str) -> Option<String>, faults: &mut Faults) {
        let stamp = field("time").unwrap_or_default();
        let Some(slot) = hour_of(&stamp) else {
            let rule = "not a stamp such as 20200131:0010";
            faults.add(row, "time", &stamp, rule, "restore the row from the source");
            return;
        };
        if self.rows.last().is_some_and(|(above, _)| slot.start() < above.end()) {
            let rule = "not in an hour after that of the row above";
            faults.add(row, "time", &stamp, rule, "sort the rows, one for each hour");
            return;
        }
        let mut irradiance = |column| {
            let text = field(column);
            let cell = Cell { row, column, text: text.as_deref() };
            faults.quantity(cell, |_| false, Irradiance::new)
        };
        let diffuse = irradiance("Gd(i)");
        let parts = [irradiance("Gb(i)"), diffuse, irradiance("Gr(i)")];
        let plane = irradiance("G(i)").or_else(|| {
            let sum: Option<f64> =
                parts.iter().map(|part| part.map(Irradiance::watts_per_m2)).sum();
            sum.map(Irradiance::clamped)
        });
        let text = field("T2m");
        let air = Cell { row, column: "T2m", text: text.as_deref() };
        let temp_air = faults.quantity(air, |_| false, Temperature::new);
        let text = field("WS10m");
        let wind = Cell { row, column: "WS10m", text: text.as_deref() };
        let wind = faults.quantity(wind, |_| false, WindSpeed::new);
        let conditions = Conditions {
            ghi: plane.filter(|_| self.flat),
            dhi: diffuse.filter(|_| self.flat),
            in_plane: plane.filter(|_| !self.flat),
            temp_air,
            wind,
            ..Conditions::default()
        };
        self.rows.push((slot, conditions));
    }

    fn end(self, mut faults: Faults) -> Result<Weather, WeatherError> {
        if self.rows.is_empty() {
            faults.add(1, "time", "", "no row of weather", HOURLY_REMEDY);
        } else if self.rows.iter().all(|(_, row)| row.ghi.or(row.in_plane).is_none()) {
            faults.add(1, "G(i)", "", "no irradiance in any row", HOURLY_REMEDY);
        }
        faults.end(Weather(self.rows))
    }
}

/// The hour that holds a stamp such as `20200131:0010`.
fn hour_of(stamp: &str) -> Option<Slot> {
    let stamp = NaiveDateTime::parse_from_str(stamp, "%Y%m%d:%H%M").ok()?;
    let start = Instant::from_unix(stamp.and_utc().timestamp().div_euclid(3_600) * 3_600);
    Slot::new(start, start + 3_600)
}
