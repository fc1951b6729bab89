//! Weather from the columns of a series file.

use optimiser::time::Slot;
use optimiser::units::{Fraction, Irradiance, Temperature, WindSpeed};

use super::{Columns, TableError, Weather};
use crate::series::SeriesFile;

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
}

fn values<T>(file: &SeriesFile, name: &str, quantity: impl Fn(f64) -> T) -> Vec<Option<T>> {
    file.quantity(name)
        .map(|column| column.values().iter().map(|value| value.map(&quantity)).collect())
        .unwrap_or_default()
}
