//! What is in the stores: by probes where there are some, by the schedule's own
//! simulation elsewhere. The service and the replay both estimate so.

use crate::problem::Problem;
use crate::schedule::{Schedule, StorePlan};
use crate::site::Store;
use crate::time::Instant;
use crate::units::Temperature;
use crate::water;

/// Equal layers of an estimate.
pub const LAYERS: usize = 10;

/// Temperatures of equal layers from bottom to top [°C].
pub type Profile = [f64; LAYERS];

/// A probe that is believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// Height as a share of the store's.
    pub height: f64,
    /// Its reading [°C].
    pub celsius: f64,
}

/// A store as it is thought to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Its layers.
    pub profile: Profile,
    /// Whether a probe speaks for it; otherwise it is the model's own.
    pub measured: bool,
}

impl Estimate {
    /// The layers as temperatures.
    pub fn layers(&self) -> Vec<Temperature> {
        self.profile.iter().map(|celsius| Temperature::clamped(*celsius)).collect()
    }

    /// Heat above mains temperature [kWh].
    pub fn stored_kwh(&self, store: &Store) -> f64 {
        let litres = store.volume.litres() / LAYERS as f64;
        let above = |celsius: &f64| (celsius - store.mains.celsius()).max(0.0);
        self.profile.iter().map(|celsius| water::heat_kwh(litres, above(celsius))).sum()
    }

    /// Litres at the use temperature that could be drawn now.
    pub fn usable_litres(&self, store: &Store) -> f64 {
        store.usable_litres(&self.layers())
    }
}

/// Any number of equal layers as [`LAYERS`] of them, with the same mean.
pub fn resampled(layers: &[Temperature]) -> Profile {
    let count = layers.len() as f64;
    std::array::from_fn(|i| {
        let (from, to) = (i as f64 / LAYERS as f64, (i + 1) as f64 / LAYERS as f64);
        let shares = layers.iter().enumerate().map(|(j, temperature)| {
            let (low, high) = (j as f64 / count, (j + 1) as f64 / count);
            (high.min(to) - low.max(from)).max(0.0) * temperature.celsius()
        });
        shares.sum::<f64>() * LAYERS as f64
    })
}

/// The stores by a schedule's own simulation at an instant; `None` outside it.
pub fn expected(problem: &Problem, schedule: &Schedule, now: Instant) -> Option<Vec<Profile>> {
    let slots = &schedule.slots;
    let index = slots.iter().position(|plan| plan.slot.contains(now))?;
    let slot = slots[index].slot;
    let share = (now - slot.start()) as f64 / slot.seconds() as f64;
    let stores = problem.site.stores.iter().enumerate();
    Some(
        stores
            .map(|(s, store)| {
                let end = two_layers(store, &slots[index].stores[s]);
                let start = match index.checked_sub(1) {
                    Some(before) => two_layers(store, &slots[before].stores[s]),
                    None => resampled(&problem.state.stores[s]),
                };
                std::array::from_fn(|i| start[i] + (end[i] - start[i]) * share)
            })
            .collect(),
    )
}

/// The battery by a schedule at an instant [kWh].
pub fn expected_battery(problem: &Problem, schedule: &Schedule, now: Instant) -> Option<f64> {
    let slots = &schedule.slots;
    let index = slots.iter().position(|plan| plan.slot.contains(now))?;
    let slot = slots[index].slot;
    let share = (now - slot.start()) as f64 / slot.seconds() as f64;
    let start = index.checked_sub(1).map_or(problem.state.battery, |i| slots[i].battery);
    Some(start.kwh() + (slots[index].battery.kwh() - start.kwh()) * share)
}

/// A warm and a cold layer with the heat that a schedule states.
fn two_layers(store: &Store, plan: &StorePlan) -> Profile {
    let (top, bottom) = (plan.top.celsius(), plan.bottom.celsius());
    let mean = store.mains.celsius()
        + plan.stored.kwh() / water::heat_kwh(store.volume.litres(), 1.0).max(1e-9);
    let warm = if top > bottom { ((mean - bottom) / (top - bottom)).clamp(0.0, 1.0) } else { 1.0 };
    std::array::from_fn(|i| {
        let share = (warm * LAYERS as f64 - (LAYERS - 1 - i) as f64).clamp(0.0, 1.0);
        bottom + (top - bottom) * share
    })
}

/// A model's layers, put right by the probes: between two probes the line through
/// them, above the highest its reading, below the lowest the model moved by what
/// the lowest says, and never warmer than it.
pub fn seen(store: &Store, model: &Profile, probes: &[Sight]) -> Estimate {
    let mut probes = probes.to_vec();
    probes.sort_by(|a, b| a.height.total_cmp(&b.height));
    let (Some(lowest), Some(highest)) = (probes.first(), probes.last()) else {
        return Estimate { profile: *model, measured: false };
    };
    let shift = lowest.celsius - at_height(model, lowest.height);
    let mut profile: Profile = std::array::from_fn(|i| {
        let height = (i as f64 + 0.5) / LAYERS as f64;
        if height <= lowest.height {
            let moved = (model[i] + shift).min(lowest.celsius);
            return moved.max(store.mains.celsius().min(lowest.celsius));
        }
        let above = probes.iter().position(|probe| probe.height >= height);
        match above {
            Some(above) if above > 0 => {
                let (low, high) = (probes[above - 1], probes[above]);
                let span = (high.height - low.height).max(1e-9);
                low.celsius + (high.celsius - low.celsius) * (height - low.height) / span
            }
            _ => highest.celsius,
        }
    });
    // Warm water rises: a layer is never warmer than the one above it.
    profile.sort_by(f64::total_cmp);
    Estimate { profile, measured: true }
}

fn at_height(profile: &Profile, height: f64) -> f64 {
    profile[((height * LAYERS as f64) as usize).min(LAYERS - 1)]
}

#[cfg(test)]
mod tests {
    use crate::units::{Energy, HeatLoss, Price, Volume};

    use super::*;

    fn store() -> Store {
        Store {
            name: "cylinder".into(),
            volume: Volume::constant(200.0),
            height_m: 1.5,
            heat_loss: HeatLoss::constant(1.5),
            surroundings: Temperature::constant(20.0),
            mains: Temperature::constant(10.0),
            use_temperature: Temperature::constant(40.0),
            ceiling: Temperature::constant(70.0),
            cut_out: None,
            held_back: Volume::constant(0.0),
            destratification_pump: false,
            layers: 20,
            elements: vec![],
            coils: vec![],
            return_loop: None,
        }
    }

    #[test]
    fn two_layers_hold_the_heat_of_the_plan() {
        let store = store();
        // 200 L by 10 K is 2.326 kWh (1.163 Wh/(L·K)); the mean is 10 + 5.0 / 0.2326.
        let plan = StorePlan {
            stored: Energy::constant(5.0),
            top: Temperature::constant(55.0),
            bottom: Temperature::constant(15.0),
            usable_litres: 0.0,
            unmet_kwh: 0.0,
            value: Price::constant(0.0),
        };
        let estimate = Estimate { profile: two_layers(&store, &plan), measured: false };
        assert!((estimate.stored_kwh(&store) - 5.0).abs() < 0.01, "{estimate:?}");
        assert!((estimate.profile[LAYERS - 1] - 55.0).abs() < 1e-9);
        assert!((estimate.profile[0] - 15.0).abs() < 1e-9);
    }

    #[test]
    fn layers_of_any_number_keep_their_mean() {
        let layers = [20.0, 40.0, 60.0].map(Temperature::constant);
        let profile = resampled(&layers);
        assert!((profile.iter().sum::<f64>() / LAYERS as f64 - 40.0).abs() < 1e-9);
        assert!((profile[0] - 20.0).abs() < 1e-9 && (profile[9] - 60.0).abs() < 1e-9);
    }

    #[test]
    fn probes_put_the_model_right() {
        let store = store();
        let model: Profile = std::array::from_fn(|i| if i < 5 { 15.0 } else { 50.0 });
        assert!(!seen(&store, &model, &[]).measured);
        // One probe at the top says nothing about the cold half.
        let top = Sight { height: 0.9, celsius: 55.0 };
        let estimate = seen(&store, &model, &[top]);
        let profile = estimate.profile;
        assert!(estimate.measured && (profile[9] - 55.0).abs() < 1e-9);
        assert!(profile[0] < 25.0, "{profile:?}");
        // Two probes: the line between them.
        let low = Sight { height: 0.15, celsius: 20.0 };
        let profile = seen(&store, &model, &[top, low]).profile;
        assert!((profile[5] - (20.0 + 35.0 * (0.55 - 0.15) / 0.75)).abs() < 1e-9);
        assert!(profile.windows(2).all(|pair| pair[0] <= pair[1]));
        // A probe that is colder than the model pulls the water below it down.
        let cold = Sight { height: 0.9, celsius: 30.0 };
        assert!(seen(&store, &model, &[cold]).profile.iter().all(|c| *c <= 30.0));
    }
}
