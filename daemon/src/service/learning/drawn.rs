//! What was drawn from a store, from what went in and what is left.
//!
//! One probe sees the top only, and below it the estimate leans on the schedule,
//! which expects draws: what it says would be learned from itself. So a store is
//! only counted while two of its probes speak.

use optimiser::estimate::Estimate;
use optimiser::site::Store;
use optimiser::water::KWH_PER_LITRE_KELVIN;

/// Less than this in a half-hour is noise of the probes [kWh].
const NOISE_KWH: f64 = 0.15;

/// Draws of a half-hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drawn {
    /// Litres at the temperature of use.
    pub litres: f64,
    /// The part of them that came too cold.
    pub cold: f64,
}

/// The heat of each store at the last edge of a half-hour [kWh], if it was seen.
#[derive(Debug, Default)]
pub struct DrawWatch(Vec<Option<f64>>);

impl DrawWatch {
    /// Looks at the stores at the edge of a half-hour: `heated` is what went into
    /// each since the last edge [kWh], `probes` how many speak for it.
    pub fn look(
        &mut self,
        stores: &[Store],
        estimates: &[Estimate],
        heated: &[f64],
        probes: &[usize],
    ) -> Vec<Option<Drawn>> {
        let seen = stores.iter().zip(estimates).zip(probes);
        let now: Vec<Option<f64>> = seen
            .map(|((store, estimate), probes)| (*probes >= 2).then(|| estimate.stored_kwh(store)))
            .collect();
        let mut before = std::mem::replace(&mut self.0, now.clone());
        before.resize(stores.len(), None);
        let all = stores.iter().zip(estimates).zip(heated);
        all.zip(before.into_iter().zip(now))
            .map(|(((store, estimate), heated), (before, now))| {
                let drawn_kwh = before? + heated - loss_kwh(store, estimate) - now?;
                Some(drawn(store, estimate, drawn_kwh))
            })
            .collect()
    }

    /// What was seen before is of another time: the clock stepped or the machine slept.
    pub fn forget(&mut self) {
        self.0.clear();
    }
}

/// Heat lost to the room in a half-hour [kWh].
fn loss_kwh(store: &Store, estimate: &Estimate) -> f64 {
    let mean = estimate.profile.iter().sum::<f64>() / estimate.profile.len() as f64;
    store.heat_loss.watts_per_kelvin() * (mean - store.surroundings.celsius()) * 0.5 / 1_000.0
}

fn drawn(store: &Store, estimate: &Estimate, kwh: f64) -> Drawn {
    let per_litre = KWH_PER_LITRE_KELVIN * store.use_temperature.above(store.mains);
    let litres = if kwh < NOISE_KWH { 0.0 } else { kwh / per_litre };
    let top = estimate.profile[estimate.profile.len() - 1];
    let is_cold = top < store.use_temperature.celsius();
    Drawn { litres, cold: if is_cold { litres } else { 0.0 } }
}

#[cfg(test)]
mod tests {
    use optimiser::estimate::LAYERS;
    use optimiser::units::{HeatLoss, Temperature, Volume};

    use super::*;

    fn store() -> Store {
        Store {
            name: "cylinder".into(),
            volume: Volume::constant(200.0),
            height_m: 1.5,
            heat_loss: HeatLoss::constant(2.0),
            surroundings: Temperature::constant(20.0),
            mains: Temperature::constant(10.0),
            use_temperature: Temperature::constant(40.0),
            ceiling: Temperature::constant(70.0),
            cut_out: None,
            held_back: Volume::constant(0.0),
            destratification_pump: false,
            layers: 20,
            elements: vec![],
            coils: Vec::new(),
            return_loop: None,
        }
    }

    fn at(celsius: f64) -> Estimate {
        Estimate { profile: [celsius; LAYERS], measured: true }
    }

    // 200 L by 10 K is 2.326 kWh (1.163 Wh/(L·K)); 2 W/K by 30 K in half an hour 0.03 kWh.
    #[test]
    fn what_is_neither_left_nor_lost_was_drawn() {
        let (stores, mut watch) = ([store()], DrawWatch::default());
        assert_eq!(watch.look(&stores, &[at(60.0)], &[0.0], &[2]), [None], "nothing before");
        let drawn = watch.look(&stores, &[at(50.0)], &[1.0], &[2])[0].expect("seen twice");
        let expected = (2.326 + 1.0 - 0.03) / (KWH_PER_LITRE_KELVIN * 30.0);
        assert!((drawn.litres - expected).abs() < 0.1, "{drawn:?}, not {expected}");
        assert!(drawn.cold.abs() < 1e-9);
        let drawn = watch.look(&stores, &[at(35.0)], &[0.0], &[2])[0].expect("seen twice");
        assert!((drawn.cold - drawn.litres).abs() < 1e-9 && drawn.cold > 90.0, "{drawn:?}");
    }

    #[test]
    fn a_store_with_one_probe_teaches_nothing() {
        let (stores, mut watch) = ([store()], DrawWatch::default());
        watch.look(&stores, &[at(60.0)], &[0.0], &[2]);
        assert_eq!(watch.look(&stores, &[at(50.0)], &[0.0], &[1]), [None]);
        assert_eq!(
            watch.look(&stores, &[at(50.0)], &[0.0], &[2]),
            [None],
            "not seen at the last edge"
        );
    }
}
