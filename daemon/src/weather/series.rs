//! Weather from the columns of a series file.

use optimiser::time::Slot;
use optimiser::units::{Fraction, Irradiance, Temperature, WindSpeed};

use super::{Columns, Conditions, TableError, Weather};
use crate::series::{ColumnError, Dimension, SeriesFile};

impl Weather {
    /// The columns that weather is known by: `ghi`, `dni`, `dhi`, `temp_air`,
    /// `wind_speed` and `rel_humidity`. What the file does not have is absent.
    ///
    /// # Errors
    /// If the rows do not ascend, which a series file's do.
    pub fn from_series(file: &SeriesFile) -> Result<Self, TableError> {
        let step = file.step_seconds();
        let slots: Vec<Slot> =
            file.starts().iter().filter_map(|&start| Slot::new(start, start + step)).collect();
        let columns = Columns {
            ghi: values(file, "ghi", Irradiance::clamped),
            dni: values(file, "dni", Irradiance::clamped),
            dhi: values(file, "dhi", Irradiance::clamped),
            in_plane: Vec::new(),
            temp_air: values(file, "temp_air", Temperature::clamped),
            wind: values(file, "wind_speed", WindSpeed::clamped),
            humidity: values(file, "rel_humidity", |percent| Fraction::clamped(percent / 100.0)),
        };
        Self::from_columns(&slots, &columns)
    }

    /// The air alone: the column `temp_air`, or the only one of temperatures.
    ///
    /// # Errors
    /// If there is no such column, or more than one.
    pub fn air_from_series(file: &SeriesFile) -> Result<Self, ColumnError> {
        let named = file.quantity("temp_air").filter(|c| c.dimension() == Dimension::Temperature);
        let column = named.map_or_else(|| file.only(Dimension::Temperature), Ok)?;
        let step = file.step_seconds();
        let rows = file.starts().iter().zip(column.values()).filter_map(|(&start, value)| {
            let temp_air = value.map(Temperature::clamped);
            Some((
                Slot::new(start, start + step)?,
                Conditions { temp_air, ..Conditions::default() },
            ))
        });
        // Rows of a series file ascend.
        Ok(Self(rows.collect()))
    }
}

fn values<T>(file: &SeriesFile, name: &str, quantity: impl Fn(f64) -> T) -> Vec<Option<T>> {
    file.quantity(name)
        .map(|column| column.values().iter().map(|value| value.map(&quantity)).collect())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::series::{Marks, read};

    fn weather(text: &str) -> Weather {
        let file = read("weather.csv", text.as_bytes(), Marks::AsNamed).expect("a file");
        Weather::from_series(&file).expect("rows in order")
    }

    #[test]
    fn columns_are_found_by_name_and_brought_to_one_unit() {
        let weather = weather(
            "start_utc,temp_air_c,ghi_w_per_m2,dhi_w_per_m2,dni_w_per_m2,wind_speed_km_per_h,rel_humidity_pct\n\
             2025-06-01T10:00Z,18.5,500,200,450,36,55\n\
             2025-06-01T11:00Z,,600,210,,18,\n",
        );
        let [(slot, first), (_, second)] = weather.rows() else { panic!("two rows") };
        assert_eq!(slot.seconds(), 3_600);
        assert_eq!(first.ghi, Some(Irradiance::constant(500.0)));
        assert_eq!(first.dhi, Some(Irradiance::constant(200.0)));
        assert_eq!(first.dni, Some(Irradiance::constant(450.0)));
        assert_eq!(first.temp_air, Some(Temperature::constant(18.5)));
        let wind = first.wind.expect("a speed").metres_per_second();
        assert!((wind - 10.0).abs() < 1e-9, "{wind}");
        let humidity = first.humidity.expect("a humidity").value();
        assert!((humidity - 0.55).abs() < 1e-9, "{humidity}");
        assert_eq!((second.temp_air, second.dni, second.humidity), (None, None, None));
    }

    #[test]
    fn what_the_file_does_not_have_is_absent() {
        let weather =
            weather("start_utc,ghi_w_per_m2\n2025-06-01T10:00Z,500\n2025-06-01T10:30Z,510\n");
        assert!(weather.states(|row| row.ghi));
        assert!(!weather.states(|row| row.temp_air) && !weather.states(|row| row.wind));
        assert!(!weather.states(|row| row.in_plane));
    }

    #[test]
    fn a_missing_row_is_a_gap() {
        let weather = weather(
            "start_utc,ghi_w_per_m2\n2025-06-01T10:00Z,1\n2025-06-01T11:00Z,2\n2025-06-01T13:00Z,4\n",
        );
        let gap = weather.rows()[1].0.end();
        assert!(weather.overlapping(Slot::new(gap, gap + 3_600).expect("an hour")).is_empty());
        assert_eq!(weather.rows().len(), 3);
    }
}
