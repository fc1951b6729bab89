//! The document filled in from a plan, with every number rounded.

use optimiser::schedule as plan;
use optimiser::units::{Energy, Price};

use super::{
    BatteryMode, Cost, Document, Evidence, Heater, Hygiene, Job, Model, PlantRoom, PriceOrigin,
    Request, SCHEMA, Slot, Status, Store, Told,
};
use crate::present::digits::rounded;
use crate::present::{Plan, local, reasons};

/// Decimals of energies [kWh] and of prices.
pub(super) const FINE: i32 = 4;
/// Decimals of money.
const MONEY: i32 = 3;
/// Decimals of temperatures [°C], powers [kW] and minutes.
pub(super) const COARSE: i32 = 2;
/// Decimals of volumes [L].
const LITRES: i32 = 1;

impl Document {
    /// The document of a plan.
    pub fn new(shown: &Plan<'_>) -> Self {
        let schedule = shown.schedule;
        let time = |instant| local::rfc_3339(shown.zone(), instant);
        Self {
            schema: SCHEMA.to_owned(),
            site: shown.house.name.clone(),
            boot_id: None,
            seq: None,
            issued_at: time(shown.issued_at),
            valid_until: time(shown.valid_until),
            time_zone: shown.zone().name().to_owned(),
            currency: shown.house.tariff.currency.clone(),
            status: match schedule.origin {
                plan::Origin::Optimal => Status::Optimal,
                plan::Origin::LimitReached => Status::LimitReached,
                plan::Origin::Rule => Status::Rule,
            },
            evidence: match schedule.evidence {
                plan::Evidence::Modelled => Evidence::Modelled,
                plan::Evidence::Simulated { rounds, polish_gain } => {
                    Evidence::Simulated { rounds, polish_gain: rounded(polish_gain, MONEY) }
                }
            },
            cost: Cost::new(&schedule.cost),
            unmet_litres: rounded(schedule.unmet_litres, LITRES),
            unmet_kwh: rounded(schedule.unmet_kwh, FINE),
            short_kwh: rounded(schedule.short_kwh, FINE),
            models: Model::of(shown),
            four_state: Request::of(shown),
            hygiene: shown
                .problem
                .hygiene
                .iter()
                .zip(&schedule.hygiene)
                .map(|(due, starts)| Hygiene {
                    store: shown.problem.site.stores[due.store].name.clone(),
                    due: time(due.due),
                    temperature_c: rounded(due.temperature.celsius(), COARSE),
                    hold_minutes: rounded(due.hold_seconds as f64 / 60.0, COARSE),
                    starts: starts.map(time),
                })
                .collect(),
            slots: shown.slots().iter().map(|slot| Slot::new(shown, slot)).collect(),
        }
    }
}

impl Cost {
    /// Rounds the parts and sums the rounded parts, so that the reader's own
    /// sum agrees.
    fn new(cost: &plan::Cost) -> Self {
        let [import, export_income, wear, fuel, end_value] =
            [cost.import, cost.export_income, cost.wear, cost.fuel, cost.end_value]
                .map(|part| rounded(part, MONEY));
        let total = rounded(import - export_income + wear + fuel - end_value, MONEY);
        Self { import, export_income, wear, fuel, end_value, total }
    }
}

impl Slot {
    fn new(shown: &Plan<'_>, slot: &plan::SlotPlan) -> Self {
        let kwh = |energy: Energy| rounded(energy.kwh(), FINE);
        let price = |price: Price| rounded(price.per_kwh(), FINE);
        Self {
            start: local::rfc_3339(shown.zone(), slot.slot.start()),
            end: local::rfc_3339(shown.zone(), slot.slot.end()),
            import_price: price(slot.import_price),
            export_price: price(slot.export_price),
            price_origin: if shown.is_forecast(slot.slot) {
                PriceOrigin::Forecast
            } else {
                PriceOrigin::Published
            },
            electricity_value: price(slot.electricity_value),
            import_kwh: kwh(slot.import),
            export_kwh: kwh(slot.export),
            swing_kwh: kwh(slot.swing),
            pv_kwh: kwh(slot.pv),
            curtailed_kwh: kwh(slot.curtailed),
            base_load_kwh: kwh(slot.base_load),
            charge_kwh: kwh(slot.charge),
            discharge_kwh: kwh(slot.discharge),
            battery_kwh: kwh(slot.battery),
            battery_mode: slot.battery_mode.map(BatteryMode::from),
            heaters: slot.heaters.iter().map(|heater| Heater::new(shown, slot, heater)).collect(),
            stores: (0..).zip(&slot.stores).map(|(i, store)| Store::new(shown, i, store)).collect(),
            jobs: slot.jobs.iter().map(|job| Job::new(shown, slot, job)).collect(),
            told: slot.told.iter().map(|command| Told::new(shown, command)).collect(),
            plant_room: PlantRoom::of(&slot.plant_room),
        }
    }
}

impl Heater {
    fn new(shown: &Plan<'_>, slot: &plan::SlotPlan, heater: &plan::HeaterPlan) -> Self {
        // The grid takes what rounding leaves, so that the three parts always
        // sum to the whole.
        let energy_kwh = rounded(heater.energy.kwh(), FINE);
        let pv_kwh = rounded(heater.pv.kwh(), FINE).min(energy_kwh);
        let battery_kwh =
            rounded(heater.battery.kwh(), FINE).min(rounded(energy_kwh - pv_kwh, FINE));
        Self {
            store: shown.store(heater.id).name.clone(),
            heater: shown.element(heater.id).name.clone(),
            power_kw: rounded(heater.power.kw(), COARSE),
            minutes: rounded(heater.minutes, COARSE),
            delay_minutes: rounded(heater.delay_minutes, COARSE),
            energy_kwh,
            pv_kwh,
            battery_kwh,
            grid_kwh: rounded(energy_kwh - pv_kwh - battery_kwh, FINE),
            why: reasons::full(shown, slot, heater),
        }
    }
}

impl Store {
    fn new(shown: &Plan<'_>, index: usize, store: &plan::StorePlan) -> Self {
        Self {
            store: shown.problem.site.stores[index].name.clone(),
            stored_kwh: rounded(store.stored.kwh(), FINE),
            top_c: rounded(store.top.celsius(), COARSE),
            bottom_c: rounded(store.bottom.celsius(), COARSE),
            usable_litres: rounded(store.usable_litres, LITRES),
            unmet_kwh: rounded(store.unmet_kwh, FINE),
            value_per_kwh: rounded(store.value.per_kwh(), FINE),
        }
    }
}

impl From<plan::BatteryMode> for BatteryMode {
    fn from(mode: plan::BatteryMode) -> Self {
        match mode {
            plan::BatteryMode::Hold => Self::Hold,
            plan::BatteryMode::Follow => Self::Follow,
            plan::BatteryMode::Charge => Self::Charge,
            plan::BatteryMode::Discharge => Self::Discharge,
            plan::BatteryMode::Absorb => Self::Absorb,
            plan::BatteryMode::Supply => Self::Supply,
        }
    }
}
