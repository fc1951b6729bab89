//! What a plan knows of the surroundings of a plant room.

use super::super::View;
use super::super::view::Read;
use super::{FINE, PLANNED};
use crate::forecast::{self, Knowledge};
use crate::problem::{Ambient, Band, Comfort};
use crate::site::Site;
use crate::time::{Horizon, Series};
use crate::units::{Fraction, Irradiance, Temperature, WindSpeed};

/// Weather as it is expected and habits as they were agreed, on the slots of a plan.
pub(super) fn surroundings(view: &View<'_>, site: &Site, horizon: &Horizon) -> (Ambient, Comfort) {
    let coming = Coming { view, horizon };
    let air = coming.air(|a| a.outdoor.as_ref(), Temperature::celsius);
    let ambient = Ambient {
        outdoor: air.as_deref().and_then(|air| coming.series(air, Temperature::clamped)),
        ground: coming.agreed(|a| a.ground.as_ref(), Temperature::celsius, Temperature::clamped),
        collector_irradiance: coming.light(|a| a.collector_irradiance.as_ref()),
        horizontal_irradiance: coming.light(|a| a.horizontal_irradiance.as_ref()),
        humidity: coming
            .air(|a| a.humidity.as_ref(), Fraction::value)
            .and_then(|values| coming.series(&values, Fraction::clamped)),
        wind: coming
            .air(|a| a.wind.as_ref(), WindSpeed::metres_per_second)
            .and_then(|values| coming.series(&values, WindSpeed::clamped)),
        pool_cover: coming.agreed(|a| a.pool_cover.as_ref(), Fraction::value, Fraction::clamped),
        room_gains: coming.agreed(
            |a| a.room_gains.as_ref(),
            crate::units::Power::kw,
            crate::units::Power::clamped,
        ),
        loop_runs: view.loop_runs(horizon),
        held_off: Vec::new(),
    };
    (ambient, coming.comfort(site, air.as_deref()))
}

/// Comfort of rooms and pool.
type Bands = (Option<Band>, Option<Band>);

struct Coming<'a> {
    view: &'a View<'a>,
    horizon: &'a Horizon,
}

impl Coming<'_> {
    /// Air, humidity or wind of the coming half-hours.
    fn air<T: Copy>(&self, of: Read<T>, read: fn(T) -> f64) -> Option<Vec<f64>> {
        self.view.agreed(of, self.view.now())?;
        let measured = |slot: usize| self.view.weather(of, slot).map(read);
        Some(forecast::air(self.view, PLANNED, measured))
    }

    fn light(&self, of: Read<Irradiance>) -> Option<Series<Irradiance>> {
        self.view.agreed(of, self.view.now())?;
        let measured = |slot: usize| self.view.weather(of, slot).map(Irradiance::watts_per_m2);
        self.series(&forecast::light(self.view, PLANNED, measured), Irradiance::clamped)
    }

    fn agreed<T: Copy>(
        &self,
        of: Read<T>,
        read: fn(T) -> f64,
        quantity: fn(f64) -> T,
    ) -> Option<Series<T>> {
        let now = self.view.now();
        let values: Option<Vec<f64>> =
            (now..now + PLANNED).map(|slot| self.view.agreed(of, slot).map(read)).collect();
        self.series(&values?, quantity)
    }

    /// Half-hours on the slots of the plan.
    fn series<T: Copy>(&self, half_hours: &[f64], quantity: fn(f64) -> T) -> Option<Series<T>> {
        let mean = |pair: &[f64]| pair.iter().sum::<f64>() / pair.len() as f64;
        let fine = half_hours[..FINE].iter().copied();
        let coarse = half_hours[FINE..PLANNED].chunks(2).map(mean);
        let values = fine.chain(coarse).map(quantity).collect();
        Series::new("what is expected", self.horizon, values).ok()
    }

    /// Comfort by the clock; of a pool that follows the air, with the air of the day
    /// as measured and expected.
    fn comfort(&self, site: &Site, expected: Option<&[f64]>) -> Comfort {
        let (view, now) = (self.view, self.view.now());
        let air = |slot: usize| {
            let measured = view.weather(|a| a.outdoor.as_ref(), slot).map(Temperature::celsius);
            measured.or_else(|| expected?.get(slot.checked_sub(now)?).copied())
        };
        let starts = (0..FINE).chain((FINE..PLANNED).step_by(2));
        let bands: Vec<Bands> = starts.map(|ahead| view.bands(site, now + ahead, air)).collect();
        let series = |of: fn(&Bands) -> Option<Band>| {
            let own: Option<Vec<Band>> = bands.iter().map(of).collect();
            Series::new("the comfort", self.horizon, own?).ok()
        };
        Comfort { rooms: series(|both| both.0), pool: series(|both| both.1), ..Comfort::default() }
    }
}
