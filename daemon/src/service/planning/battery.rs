//! What the schedule wants of a battery that takes commands, slot by slot, within
//! what the network allows.

use optimiser::schedule::{BatteryMode, SlotPlan};
use optimiser::units::Power;

use super::Made;
use crate::assemble::Allowance;

/// Less than this is not worth charging with [kW].
const LEAST_KW: f64 = 0.05;

/// What a battery is to do in a slot.
#[derive(Debug, Clone, PartialEq)]
pub struct BatteryOrder {
    /// In which way.
    pub mode: BatteryMode,
    /// AC power where the mode has one \[W\]; zero otherwise.
    pub power_w: u32,
    /// Why, for people.
    pub reason: String,
}

impl BatteryOrder {
    /// What a battery does that nobody commands.
    pub fn by_itself(why: &str) -> Self {
        let reason = format!("{why}; the battery regulates itself");
        Self { mode: BatteryMode::Follow, power_w: 0, reason }
    }

    fn new(mode: BatteryMode, power: Power, more: &str) -> Self {
        let words = match mode {
            BatteryMode::Hold => "its charge is worth more later".to_owned(),
            BatteryMode::Follow => "takes what is left over and gives what is missing".to_owned(),
            BatteryMode::Charge => format!("charges at {}, worth more later", in_kw(power.kw())),
            BatteryMode::Discharge => {
                format!("gives {}, worth less later", in_kw(power.kw()))
            }
            BatteryMode::Absorb => "takes what would be exported, and gives nothing".to_owned(),
            BatteryMode::Supply => "gives what would be imported, and takes nothing".to_owned(),
        };
        let power_w = (power.kw() * 1_000.0).round() as u32;
        Self { mode, power_w, reason: format!("{words}{more}") }
    }
}

/// What the battery does in each slot of a schedule; nothing without a battery.
pub fn orders(made: &Made, allowances: &[Allowance]) -> Vec<BatteryOrder> {
    let slots = made.schedule.slots.iter();
    slots.map_while(|slot| slot.battery_mode.map(|_| order(slot, allowances))).collect()
}

fn order(plan: &SlotPlan, allowances: &[Allowance]) -> BatteryOrder {
    let (mode, power) = plan.battery_command();
    let limits = allowances
        .iter()
        .filter(|allowed| allowed.is_import && allowed.slot.overlap_seconds(plan.slot) > 0);
    let limit = limits.map(|allowed| allowed.power.kw()).min_by(f64::total_cmp);
    let (BatteryMode::Charge, Some(limit)) = (mode, limit) else {
        return BatteryOrder::new(mode, power, "");
    };
    let more = format!("; the network allows {} of import", in_kw(limit));
    let room = limit - others_kw(plan);
    if room < LEAST_KW {
        return BatteryOrder::new(BatteryMode::Absorb, Power::constant(0.0), &more);
    }
    BatteryOrder::new(mode, power.min(Power::clamped(room)), &more)
}

fn in_kw(kw: f64) -> String {
    format!("{} kW", (kw * 100.0).round() / 100.0)
}

/// What the rest of the house may take at once [kW]. Sun is not counted on: a cloud
/// must not break the limit.
fn others_kw(plan: &SlotPlan) -> f64 {
    let heaters = plan.heaters.iter().filter(|run| run.minutes > 0.0);
    let jobs = plan.jobs.iter().filter(|job| job.minutes > 0.0);
    (plan.base_load.kwh() + plan.circulation.kwh()) / plan.slot.hours()
        + heaters.map(|run| run.power.kw()).sum::<f64>()
        + jobs.map(|job| job.electricity.kwh() / (job.minutes / 60.0)).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use optimiser::problem::HeaterId;
    use optimiser::schedule::{HeaterPlan, PlantRoomPlan, Reason};
    use optimiser::time::{Instant, Slot};
    use optimiser::units::{Energy, Price};

    use super::*;

    fn at(hours: i64) -> Instant {
        Instant::from_unix(1_767_225_600 + hours * 3_600)
    }

    /// An hour in which the battery charges 3 kWh beside 0.4 kWh of load.
    fn charging(heater_minutes: f64) -> SlotPlan {
        let (none, price) = (Energy::constant(0.0), Price::constant(10.0));
        SlotPlan {
            slot: Slot::new(at(0), at(1)).expect("an hour"),
            import_price: price,
            export_price: price,
            import: Energy::constant(3.4),
            export: none,
            swing: none,
            pv: none,
            curtailed: none,
            base_load: Energy::constant(0.4),
            charge: Energy::constant(3.0),
            discharge: none,
            battery: none,
            battery_mode: Some(BatteryMode::Charge),
            electricity_value: price,
            heaters: vec![HeaterPlan {
                id: HeaterId { store: 0, element: 0 },
                power: Power::constant(1.5),
                minutes: heater_minutes,
                delay_minutes: 0.0,
                energy: none,
                pv: none,
                battery: none,
                grid: none,
                why: Reason::NotNeeded,
            }],
            stores: vec![],
            circulation: none,
            jobs: vec![],
            told: vec![],
            plant_room: PlantRoomPlan::default(),
        }
    }

    fn limit(hour: i64, kw: f64, is_import: bool) -> Allowance {
        let slot = Slot::new(at(hour), at(hour + 1)).expect("an hour");
        Allowance { slot, power: Power::clamped(kw), is_import }
    }

    fn said(plan: &SlotPlan, allowances: &[Allowance]) -> (BatteryMode, u32) {
        let order = order(plan, allowances);
        (order.mode, order.power_w)
    }

    #[test]
    fn charging_keeps_within_what_the_network_allows() {
        let alone = charging(0.0);
        assert_eq!(said(&alone, &[]), (BatteryMode::Charge, 3_000));
        assert_eq!(said(&alone, &[limit(0, 2.0, true)]), (BatteryMode::Charge, 1_600));
        assert_eq!(said(&alone, &[limit(0, 6.0, true)]), (BatteryMode::Charge, 3_000));
        // A limit of another hour, or of export, says nothing here.
        let others = [limit(1, 1.0, true), limit(0, 1.0, false)];
        assert_eq!(said(&alone, &others), (BatteryMode::Charge, 3_000));
        // The heater runs as well: what is left, or only what the sun leaves over.
        assert_eq!(said(&charging(10.0), &[limit(0, 2.0, true)]), (BatteryMode::Charge, 100));
        let strict = [limit(0, 2.0, true), limit(0, 1.0, true)];
        assert_eq!(said(&charging(10.0), &strict), (BatteryMode::Absorb, 0));
        assert!(order(&alone, &strict).reason.contains("the network allows 1"));
    }

    #[test]
    fn other_modes_take_nothing_from_the_network() {
        for mode in
            [BatteryMode::Hold, BatteryMode::Follow, BatteryMode::Absorb, BatteryMode::Supply]
        {
            let plan = SlotPlan { battery_mode: Some(mode), ..charging(60.0) };
            assert_eq!(said(&plan, &[limit(0, 1.0, true)]), (mode, 0));
        }
    }
}
