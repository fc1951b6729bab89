//! What a case keeps of single days.

use chrono::{Datelike, NaiveDate};
use optimiser::plant::PlantRoomTrace;
use optimiser::replay::{PlantRoomSums, Run, Stage};
use optimiser::sizing::{Day, Service};
use optimiser::units::Price;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::house::House;
use crate::local_time::local_date;
use crate::present::{digits::rounded, local};

/// Half-hours of a plunge: the cheapest three hours of a day.
const PLUNGE: usize = 6;

/// Why a day with a plunge was chosen.
const PLUNGE_DAY: &str = "the day with the cheapest three hours";

/// Why a day of a season was chosen.
const SUMMER_DAY: &str = "a summer day of middling price";
/// Likewise.
const WINTER_DAY: &str = "a winter day of middling price";

/// Fewest half-hours of a day that is whole.
const WHOLE: usize = 46;

/// Comfort, limits and currents of one controller's run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Detail {
    /// Days of the period.
    pub days: usize,
    /// Days with a draw that failed.
    pub days_short: usize,
    /// Draws of which more than a twentieth of the heat did not arrive.
    pub failed_draws: usize,
    /// The first day with one.
    pub first_short_day: Option<String>,
    /// First day of the seven that left most heat unmet.
    pub worst_week_from: Option<String>,
    /// Heat unmet in them [kWh].
    pub worst_week_unmet_kwh: f64,
    /// Days on which each limit bound at some time.
    pub days_at: DaysAt,
    /// Most import on one day [kWh].
    pub peak_day_import_kwh: f64,
    /// That day.
    pub peak_day: Option<String>,
    /// Highest current per phase in each half-hour, from the most to the least,
    /// at every hundredth of the period [A].
    pub currents_amperes: Vec<f64>,
    /// Heat that arrived at the taps, in the rooms and in the pool; of parts together,
    /// in a year [kWh].
    pub heat_kwh: f64,
    /// What the energy for it cost, electricity at the price of each half-hour's
    /// margin, less what heat left at the end is worth beyond that at the start [minor unit].
    pub heat_cost: f64,
}

/// Days on which a limit bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DaysAt {
    /// The fuse or an agreed import limit.
    pub import: usize,
    /// The export limit or the inverter: PV was given up.
    pub export: usize,
    /// The battery was full.
    pub battery_full: usize,
    /// The battery was at its reserve.
    pub battery_empty: usize,
    /// Every element was on throughout a half-hour.
    pub elements: usize,
}

/// A day slot by slot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TypicalDay {
    /// Why it was chosen.
    pub kind: String,
    /// The day.
    pub date: String,
    /// Bill of the day over the half-hours with a price, from figures that are
    /// not rounded [minor unit].
    pub bill: f64,
    /// Its half-hours.
    pub slots: Vec<SlotRow>,
}

impl TypicalDay {
    /// Whether it was chosen for its cheapest hours.
    pub fn is_plunge(&self) -> bool {
        self.kind == PLUNGE_DAY
    }

    /// Whether it was chosen for its season.
    pub fn is_of_a_season(&self) -> bool {
        self.kind == SUMMER_DAY || self.kind == WINTER_DAY
    }
}

impl SlotRow {
    /// Import at its price less export at its price [minor unit].
    pub fn paid(&self) -> Option<f64> {
        let (buy, sell) = self.import_price.zip(self.export_price)?;
        Some(self.import_kwh * buy - self.export_kwh * sell)
    }
}

/// A half-hour: import + pv + discharge = base_load + heaters + sources + charge + export.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states quantity and unit")]
pub struct SlotRow {
    pub start: String,
    pub import_price: Option<f64>,
    pub export_price: Option<f64>,
    pub import_kwh: f64,
    pub export_kwh: f64,
    pub pv_kwh: f64,
    pub base_load_kwh: f64,
    pub heaters_kwh: f64,
    /// Heat pumps, boiler and pumps.
    pub sources_kwh: f64,
    pub charge_kwh: f64,
    pub discharge_kwh: f64,
    pub battery_kwh: f64,
    pub top_c: f64,
    pub bottom_c: f64,
    pub usable_litres: f64,
    pub buffer_c: Option<f64>,
    pub rooms_c: Option<f64>,
    pub pool_c: Option<f64>,
}

impl Detail {
    /// Looks at the days of a run; the cost of heat is given.
    pub(super) fn of(
        house: &House,
        stage: &Stage<'_>,
        run: &Run,
        days: &[Day],
        heat_cost: f64,
    ) -> Self {
        let date = |day: usize| date(house, stage, &days[day]).to_string();
        let service = Service::of(days);
        let at = |bound: fn(&Day) -> f64| days.iter().filter(|day| bound(day) > 0.0).count();
        let import = |day: &Day| day.ledger.house.import_kwh;
        let peak = (0..days.len()).max_by(|&a, &b| import(&days[a]).total_cmp(&import(&days[b])));
        let taps = days.iter().map(|day| day.ledger.taps);
        let circuits = days.iter().filter_map(|day| day.ledger.plant_room.as_ref());
        let heat: f64 = taps.clone().map(|t| t.asked_kwh - t.unmet_kwh).sum::<f64>()
            + circuits.map(PlantRoomSums::circuits_kwh).sum::<f64>();
        Self {
            days: days.len(),
            days_short: service.days_short,
            failed_draws: taps.map(|t| t.failed).sum(),
            first_short_day: service.first_short.map(date),
            worst_week_from: service.worst_week.map(|(day, _)| date(day)),
            worst_week_unmet_kwh: rounded(service.worst_week.map_or(0.0, |(_, kwh)| kwh), 4),
            days_at: DaysAt {
                import: at(|day| day.ledger.limits.import),
                export: at(|day| day.ledger.limits.curtailed),
                battery_full: at(|day| day.ledger.limits.battery_full),
                battery_empty: at(|day| day.ledger.limits.battery_empty),
                elements: at(|day| day.ledger.limits.elements),
            },
            peak_day_import_kwh: rounded(peak.map_or(0.0, |day| import(&days[day])), 4),
            peak_day: peak.map(date),
            currents_amperes: currents(house, run, days),
            heat_kwh: rounded(heat, 4),
            heat_cost: rounded(heat_cost, 3),
        }
    }
}

impl Detail {
    /// The parts of a year together: days and draws as they were lived through, and
    /// currents and heat as often as each part counts.
    pub(super) fn joined(parts: &[(&Self, f64)]) -> Self {
        let each = || parts.iter().map(|(own, _)| *own);
        let sum = |of: fn(&Self) -> usize| each().map(of).sum();
        let yearly = |of: fn(&Self) -> f64, digits| {
            rounded(parts.iter().map(|(own, times)| times * of(own)).sum(), digits)
        };
        let worst = each().max_by(|a, b| a.worst_week_unmet_kwh.total_cmp(&b.worst_week_unmet_kwh));
        let peak = each().max_by(|a, b| a.peak_day_import_kwh.total_cmp(&b.peak_day_import_kwh));
        Self {
            days: sum(|own| own.days),
            days_short: sum(|own| own.days_short),
            failed_draws: sum(|own| own.failed_draws),
            first_short_day: each().find_map(|own| own.first_short_day.clone()),
            worst_week_from: worst.and_then(|own| own.worst_week_from.clone()),
            worst_week_unmet_kwh: worst.map_or(0.0, |own| own.worst_week_unmet_kwh),
            days_at: DaysAt {
                import: sum(|own| own.days_at.import),
                export: sum(|own| own.days_at.export),
                battery_full: sum(|own| own.days_at.battery_full),
                battery_empty: sum(|own| own.days_at.battery_empty),
                elements: sum(|own| own.days_at.elements),
            },
            peak_day_import_kwh: peak.map_or(0.0, |own| own.peak_day_import_kwh),
            peak_day: peak.and_then(|own| own.peak_day.clone()),
            currents_amperes: joined_currents(parts),
            heat_kwh: yearly(|own| own.heat_kwh, 4),
            heat_cost: yearly(|own| own.heat_cost, 3),
        }
    }
}

/// Currents over all parts, from the highest, at every hundredth of the time.
fn joined_currents(parts: &[(&Detail, f64)]) -> Vec<f64> {
    let mut all: Vec<(f64, f64)> = parts
        .iter()
        .flat_map(|(own, times)| {
            let stands_for = times * own.days as f64;
            own.currents_amperes.iter().map(move |amperes| (*amperes, stands_for))
        })
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let whole: f64 = all.iter().map(|(_, stands_for)| stands_for).sum();
    let mut passed = 0.0;
    let mut found = all.iter().map(|(amperes, stands_for)| {
        passed += stands_for;
        (*amperes, passed)
    });
    let mut last = found.next().unwrap_or_default();
    (0..=100)
        .map(|share| {
            while last.1 < whole * f64::from(share) / 100.0 - 1e-9
                && let Some(next) = found.next()
            {
                last = next;
            }
            last.0
        })
        .collect()
}

/// Currents per phase, from the highest, at every hundredth of the time.
fn currents(house: &House, run: &Run, days: &[Day]) -> Vec<f64> {
    let volts = house.supply.volts * f64::from(house.supply.phases);
    let mut all: Vec<f64> = days
        .iter()
        .flat_map(|day| &run.outcome.house[day.slots.clone()])
        .map(|slot| slot.peak_import_kw * 1_000.0 / volts)
        .collect();
    all.sort_by(|a, b| b.total_cmp(a));
    let last = all.len().saturating_sub(1);
    (0..=100).map(|share| rounded(all[share * last / 100], 2)).collect()
}

fn date(house: &House, stage: &Stage<'_>, day: &Day) -> NaiveDate {
    local_date(stage.horizon().slots()[day.slots.start].start(), house.time_zone)
}

/// A summer, a winter and a plunge day, chosen by prices alone so that they are
/// the same for every candidate: the day of middling mean price in each season,
/// and the one whose cheapest three hours are cheapest. Where the period knows
/// no season, its day of middling price.
pub(super) fn typical(
    house: &House,
    stage: &Stage<'_>,
    run: &Run,
    days: &[Day],
) -> Vec<TypicalDay> {
    let prices = |day: &Day| -> Vec<f64> {
        day.slots.clone().filter_map(|slot| stage.prices(slot).0).map(Price::per_kwh).collect()
    };
    let mean = |day: &Day| {
        let all = prices(day);
        all.iter().sum::<f64>() / all.len() as f64
    };
    let whole: Vec<&Day> = days
        .iter()
        .filter(|d| prices(d).len() == d.slots.len() && d.slots.len() >= WHOLE)
        .collect();
    let south = house.location.is_some_and(|location| location.latitude < 0.0);
    let months = |months: [u32; 3]| {
        let mut own: Vec<&Day> = whole
            .iter()
            .copied()
            .filter(|day| months.contains(&date(house, stage, day).month()))
            .collect();
        own.sort_by(|a, b| mean(a).total_cmp(&mean(b)));
        own.get(own.len() / 2).copied()
    };
    let (north_summer, north_winter) = ([6, 7, 8], [12, 1, 2]);
    let (summer, winter) =
        if south { (north_winter, north_summer) } else { (north_summer, north_winter) };
    let cheapest = |day: &&&Day| {
        let mut all = prices(day);
        all.sort_by(f64::total_cmp);
        all.iter().take(PLUNGE).sum::<f64>()
    };
    let plunge = whole.iter().min_by(|a, b| cheapest(a).total_cmp(&cheapest(b))).copied();
    let mut middling = whole.clone();
    middling.sort_by(|a, b| mean(a).total_cmp(&mean(b)));
    let (summer, winter) = (months(summer), months(winter));
    let ordinary = if summer.is_none() && winter.is_none() {
        middling.get(middling.len() / 2).copied()
    } else {
        None
    };
    [
        (SUMMER_DAY, summer),
        (WINTER_DAY, winter),
        ("a day of middling price", ordinary),
        (PLUNGE_DAY, plunge),
    ]
    .into_iter()
    .filter_map(|(kind, day)| {
        let day = day?;
        Some(TypicalDay {
            kind: kind.to_owned(),
            date: date(house, stage, day).to_string(),
            bill: rounded(day.ledger.bill(), 3),
            slots: day.slots.clone().map(|slot| row(house, stage, run, slot)).collect(),
        })
    })
    .collect()
}

fn row(house: &House, stage: &Stage<'_>, run: &Run, slot: usize) -> SlotRow {
    let record = &run.outcome.house[slot];
    let (import, export) = stage.prices(slot);
    let price = |price: Price| rounded(price.per_kwh(), 3);
    let ends = run.outcome.stores.iter().map(|trace| trace.layers(slot + 1));
    let tops = ends.clone().filter_map(|layers| layers.last().copied());
    let bottoms = ends.filter_map(|layers| layers.first().copied());
    let fine = |value: f64| rounded(value, 3);
    let (trace, room) = (run.outcome.plant_room.as_ref(), &house.site.plant_room);
    let celsius = |there: bool, of: &dyn Fn(&PlantRoomTrace) -> f64| {
        trace.filter(|_| there).map(|trace| rounded(of(trace), 1))
    };
    SlotRow {
        start: local::clear_clock(house.time_zone, stage.horizon().slots()[slot].start()),
        import_price: import.map(price),
        export_price: export.map(price),
        import_kwh: fine(record.import_kwh),
        export_kwh: fine(record.export_kwh),
        pv_kwh: fine(record.pv_kwh),
        base_load_kwh: fine(record.base_kwh),
        heaters_kwh: fine(record.heaters_kwh),
        sources_kwh: fine(record.sources_kwh),
        charge_kwh: fine(record.charge_kwh),
        discharge_kwh: fine(record.discharge_kwh),
        battery_kwh: fine(record.battery_kwh),
        top_c: rounded(tops.fold(f64::NEG_INFINITY, f64::max), 1),
        bottom_c: rounded(bottoms.fold(f64::INFINITY, f64::min), 1),
        usable_litres: rounded(
            run.outcome.stores.iter().map(|trace| trace.slots()[slot].usable_litres).sum(),
            0,
        ),
        buffer_c: celsius(room.buffer.is_some(), &|trace| trace.buffer(slot + 1)),
        rooms_c: celsius(room.rooms.is_some(), &|trace| trace.slots()[slot].air),
        pool_c: celsius(room.pool.is_some(), &|trace| trace.pool(slot + 1)),
    }
}
