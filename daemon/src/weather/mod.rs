//! Weather records: irradiance, air and wind by half-open UTC slots.
//!
//! [`read`] knows EPW, TMY3, and the hourly output of PVGIS (`seriescalc`) as
//! CSV and JSON. Any other source builds a [`Weather`] from columns.

mod epw;
mod fault;
pub mod onto;
pub mod overcast;
pub mod pv;
mod pvgis;
mod series;
mod tmy3;
mod typical;

pub use fault::{Fault, WeatherError};
pub use typical::TypicalYear;

use optimiser::time::Slot;
use optimiser::units::{Fraction, Irradiance, Temperature, WindSpeed};

/// What a record says about a slot, as means over it; `None` where it is silent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Conditions {
    /// Global irradiance on a horizontal plane.
    pub ghi: Option<Irradiance>,
    /// Beam irradiance on a plane that faces the sun.
    pub dni: Option<Irradiance>,
    /// Diffuse irradiance on a horizontal plane.
    pub dhi: Option<Irradiance>,
    /// Irradiance on the tilted or tracking plane that the record was made for.
    pub in_plane: Option<Irradiance>,
    /// Air temperature.
    pub temp_air: Option<Temperature>,
    /// Wind speed.
    pub wind: Option<WindSpeed>,
    /// Relative humidity.
    pub humidity: Option<Fraction>,
}

/// The columns of a table; an empty one is absent, any other has a value for
/// each slot. The fields are those of [`Conditions`].
#[derive(Debug, Clone, PartialEq, Default)]
#[expect(missing_docs, reason = "the fields are those of the row, documented there")]
pub struct Columns {
    pub ghi: Vec<Option<Irradiance>>,
    pub dni: Vec<Option<Irradiance>>,
    pub dhi: Vec<Option<Irradiance>>,
    pub in_plane: Vec<Option<Irradiance>>,
    pub temp_air: Vec<Option<Temperature>>,
    pub wind: Vec<Option<WindSpeed>>,
    pub humidity: Vec<Option<Fraction>>,
}

/// Why slots and columns do not make a table.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TableError {
    /// A slot begins before the one above it ends.
    #[error(
        "row {index} of the weather begins before the row above it ends; sort the rows and leave each slot in once"
    )]
    NotAscending {
        /// Index of the later row.
        index: usize,
    },
    /// A column has another length than the slots.
    #[error("column `{column}` of the weather has {values} values for {slots} slots")]
    Length {
        /// Name of the column.
        column: &'static str,
        /// Values in the column.
        values: usize,
        /// Number of slots.
        slots: usize,
    },
}

/// A weather table: slots in ascending order, possibly with gaps between them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Weather(Vec<(Slot, Conditions)>);

impl Weather {
    /// From rows.
    ///
    /// # Errors
    /// If a slot begins before the one above it ends.
    pub fn new(rows: Vec<(Slot, Conditions)>) -> Result<Self, TableError> {
        match rows.windows(2).position(|pair| pair[1].0.start() < pair[0].0.end()) {
            Some(above) => Err(TableError::NotAscending { index: above + 1 }),
            None => Ok(Self(rows)),
        }
    }

    /// From columns.
    ///
    /// # Errors
    /// If a column that is present has another length than the slots, or the
    /// slots do not ascend.
    pub fn from_columns(slots: &[Slot], columns: &Columns) -> Result<Self, TableError> {
        let lengths = [
            ("ghi", columns.ghi.len()),
            ("dni", columns.dni.len()),
            ("dhi", columns.dhi.len()),
            ("in_plane", columns.in_plane.len()),
            ("temp_air", columns.temp_air.len()),
            ("wind", columns.wind.len()),
            ("humidity", columns.humidity.len()),
        ];
        for (column, values) in lengths {
            if values != 0 && values != slots.len() {
                return Err(TableError::Length { column, values, slots: slots.len() });
            }
        }
        let row = |(i, &slot): (usize, &Slot)| {
            let conditions = Conditions {
                ghi: at(&columns.ghi, i),
                dni: at(&columns.dni, i),
                dhi: at(&columns.dhi, i),
                in_plane: at(&columns.in_plane, i),
                temp_air: at(&columns.temp_air, i),
                wind: at(&columns.wind, i),
                humidity: at(&columns.humidity, i),
            };
            (slot, conditions)
        };
        Self::new(slots.iter().enumerate().map(row).collect())
    }

    /// The rows in ascending order.
    pub fn rows(&self) -> &[(Slot, Conditions)] {
        &self.0
    }

    /// The rows that share time with a slot.
    pub fn overlapping(&self, slot: Slot) -> &[(Slot, Conditions)] {
        let from = self.0.partition_point(|(row, _)| row.end() <= slot.start());
        let until = self.0.partition_point(|(row, _)| row.start() < slot.end());
        &self.0[from..until]
    }

    /// Whether any row states a quantity.
    pub fn states<T>(&self, quantity: impl Fn(&Conditions) -> Option<T>) -> bool {
        self.0.iter().any(|(_, conditions)| quantity(conditions).is_some())
    }
}

/// What a file holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Reading {
    /// The weather of dates that have been.
    Dated(Weather),
    /// A year put together from several, to be laid onto the dates asked for.
    Typical(TypicalYear),
}

impl Reading {
    /// The weather for a span of time: what the record holds of it, or the
    /// typical year laid onto it.
    pub fn over(&self, span: Slot) -> Weather {
        match self {
            Self::Dated(weather) => Weather(weather.overlapping(span).to_vec()),
            Self::Typical(year) => Weather(year.over(span)),
        }
    }

    /// As [`over`](Self::over), but a record that has nothing of the days in it that
    /// count lends them the weather of the same dates in its own years; the second
    /// value says so.
    pub fn over_any_year(&self, span: Slot, counted: Slot) -> (Weather, bool) {
        let own = self.over(span);
        let Self::Dated(weather) = self else { return (own, false) };
        if !weather.overlapping(counted).is_empty() {
            return (own, false);
        }
        let starts: Vec<_> = weather.0.iter().map(|(slot, _)| slot.start()).collect();
        let rows =
            crate::series::laid_onto(&starts, span).into_iter().filter_map(|(start, row)| {
                let (slot, conditions) = weather.0[row];
                Some((Slot::new(start, start + slot.seconds())?, conditions))
            });
        (Weather(rows.collect()), true)
    }
}

/// Reads a weather file by what its first lines look like; `None` if it is in
/// none of the formats known here. `name` stands for the file in messages.
///
/// # Errors
/// All faults of the file, up to a bound, each with row, column and value.
pub fn read(text: &str, name: &str) -> Result<Option<Reading>, WeatherError> {
    let text = text.trim_start_matches('\u{feff}');
    if epw::recognises(text) {
        epw::read(text, name).map(|year| Some(Reading::Typical(year)))
    } else if tmy3::recognises(text) {
        tmy3::read(text, name).map(|year| Some(Reading::Typical(year)))
    } else if pvgis::recognises_csv(text) {
        pvgis::read_csv(text, name).map(|weather| Some(Reading::Dated(weather)))
    } else if pvgis::recognises_json(text) {
        pvgis::read_json(text, name).map(|weather| Some(Reading::Dated(weather)))
    } else {
        Ok(None)
    }
}

fn at<T: Copy>(column: &[Option<T>], index: usize) -> Option<T> {
    column.get(index).copied().flatten()
}

#[cfg(test)]
mod tests;
