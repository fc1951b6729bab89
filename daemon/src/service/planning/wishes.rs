//! What was asked for by hand, as parts of a planning problem.

use optimiser::problem::{Band, ByHand, Draw, HeaterId, Held, HeldOff, Hygiene, Problem, Ready};
use optimiser::site::{Route, Sink, Source, Store};
use optimiser::time::{Horizon, Instant, Series, Slot};
use optimiser::units::{Flow, Temperature, Volume};
use optimiser::water;

use crate::house::HygieneRule;
use crate::service::commands::{Feeder, Wish, WishKind};

/// Litres at 40 °C that one more person takes a day, at the time of the largest
/// draw: daily use of 35 to 45 L a person (common practice, no published source).
const GUEST_LITRES: f64 = 40.0;
const GUEST_CELSIUS: f64 = 40.0;
const GUEST_FLOW: f64 = 8.0;

/// A boost without a temperature heats water to so much above its use [K].
const BOOST_K: f64 = 10.0;

/// Time for a source to start that a boost counts on [s].
const BOOST_SLACK_S: i64 = 600;

/// Rooms of an empty house are kept at this, against frost and mould [°C] (common
/// practice, no published source).
const EMPTY_ROOMS_C: f64 = 14.0;

/// A pool falls by no more meanwhile than a day of a share of its exchanger makes up
/// for: plans do not reach much farther (common practice, no published source).
const DAY_HOURS: f64 = 24.0;
const POOL_SHARE: f64 = 0.25;

/// Water that will have stood for so long without a proof is pasteurised before
/// somebody returns to it [s] (HSE HSG274 Part 2 asks for weekly flushing).
const STOOD_S: i64 = 7 * 86_400;

/// Puts the wishes into a problem; `rules` say what a pasteurisation is. What is to be
/// said of it.
pub(super) fn apply(
    problem: &mut Problem,
    wishes: &[Wish],
    rules: &[HygieneRule],
    now: Instant,
) -> Vec<String> {
    let mut notes = Vec::new();
    problem.by_hand =
        problem.heaters().flat_map(|heater| by_hand(problem, wishes, heater, now)).collect();
    for wish in wishes {
        let spans = |at: Instant| wish.from <= at && at < wish.until;
        match &wish.kind {
            WishKind::Away => notes.extend(away(problem, wish, rules, now)),
            WishKind::Guests(people) => {
                let more = guests(&problem.draws, *people, &spans);
                problem.draws.extend(more);
                problem.draws.sort_by_key(|draw| (draw.start, draw.store));
            }
            WishKind::Target { store, temperature } if spans(now) => {
                problem.site.stores[*store].use_temperature = *temperature;
            }
            WishKind::ReadyBy { store, litres, temperature } => {
                if wish.until > problem.horizon.start() && wish.until < problem.horizon.end() {
                    problem.ready.push(Ready {
                        store: *store,
                        by: wish.until,
                        volume: Volume::clamped(*litres),
                        temperature: *temperature,
                        urgency: 1.0,
                    });
                }
            }
            WishKind::Rooms(low) => colder_rooms(problem, wish, *low),
            WishKind::Boost { store, heater: None, until_c } => {
                boost_by_coil(problem, wish, *store, *until_c, now);
            }
            WishKind::Off { store, heater: None } => {
                let held = store.map_or_else(|| everything(problem), |s| vec![Held::Store(s)]);
                hold_off(problem, wish, held);
            }
            WishKind::FeederOff(Feeder::Source(source)) => {
                hold_off(problem, wish, vec![Held::Source(*source)]);
            }
            WishKind::FeederOff(Feeder::Circuit(sink)) => {
                let route = Route { source: Source::Buffer, sink: *sink };
                hold_off(problem, wish, vec![Held::Route(route)]);
            }
            WishKind::Target { .. } | WishKind::Boost { .. } | WishKind::Off { .. } => {}
        }
    }
    notes
}

fn hold_off(problem: &mut Problem, wish: &Wish, held: Vec<Held>) {
    let (from, until) = (wish.from, wish.until);
    problem.ambient.held_off.extend(held.into_iter().map(|what| HeldOff { what, from, until }));
}

fn everything(problem: &Problem) -> Vec<Held> {
    problem.site.plant_room.routes().into_iter().map(Held::Route).collect()
}

/// Another lowest temperature of the rooms while the wish lasts.
fn colder_rooms(problem: &mut Problem, wish: &Wish, low: Temperature) {
    let other = |slot: Slot, band: Band| {
        let own = wish.from < slot.end() && slot.start() < wish.until;
        let high = if band.high > low { band.high } else { low };
        if own { Band { low, high } } else { band }
    };
    eased(&mut problem.comfort.rooms, &problem.horizon, other);
}

/// Rooms and pool of an empty house: kept from harm, and warm again at the return.
fn empty_house(problem: &mut Problem, wish: &Wish) {
    let gone = |slot: Slot| wish.from <= slot.start() && slot.end() <= wish.until;
    let lower = |band: Band, low: f64| {
        let low = Temperature::clamped(low.min(band.low.celsius()));
        Band { low, ..band }
    };
    let colder = |slot, band| if gone(slot) { lower(band, EMPTY_ROOMS_C) } else { band };
    eased(&mut problem.comfort.rooms, &problem.horizon, colder);
    let Some(pool) = problem.site.plant_room.pool else { return };
    let fall = DAY_HOURS * POOL_SHARE * pool.exchanger.kw() / pool.capacity_kwh_per_k();
    let colder = |slot, band: Band| {
        if gone(slot) { lower(band, band.low.celsius() - fall) } else { band }
    };
    eased(&mut problem.comfort.pool, &problem.horizon, colder);
}

/// Puts another band in the place of that of each slot, where there is comfort.
fn eased(
    comfort: &mut Option<Series<Band>>,
    horizon: &Horizon,
    other: impl Fn(Slot, Band) -> Band,
) {
    let Some(bands) = comfort.as_ref() else { return };
    let slots = horizon.slots().iter().zip(bands.values());
    let wished = slots.map(|(slot, band)| other(*slot, *band)).collect();
    *comfort = Series::new("the comfort", horizon, wished).ok();
}

/// A boost of a store that a heat pump or boiler heats through a coil: its water hot as
/// soon as that can be.
fn boost_by_coil(
    problem: &mut Problem,
    wish: &Wish,
    store: usize,
    until_c: Option<f64>,
    now: Instant,
) {
    let room = &problem.site.plant_room;
    let own = &problem.site.stores[store];
    let machines = room.routes().into_iter().filter_map(|route| {
        let Sink::Coil { store: to, coil } = route.sink else { return None };
        let kw = match (route.source, &room.boiler) {
            (Source::HeatPump(index), _) => room.heat_pumps[index].performance.rated_kw(),
            (Source::Boiler, Some(boiler)) => boiler.power.kw(),
            _ => return None,
        };
        (to == store).then(|| (kw, own.coils[coil].bottom.value()))
    });
    let Some((kw, bottom)) = machines.max_by(|a, b| a.0.total_cmp(&b.0)) else { return };
    let hot = until_c.unwrap_or(own.use_temperature.celsius() + BOOST_K);
    let hot = hot.min(own.ceiling.celsius());
    let (mains, useful) = (own.mains.celsius(), own.use_temperature.celsius());
    let litres = own.volume.litres() * (1.0 - bottom);
    let held = problem.state.stores[store].iter().map(|t| t.celsius().min(hot)).sum::<f64>()
        / problem.state.stores[store].len() as f64;
    let missing = water::heat_kwh(litres, (hot - held).max(0.0));
    let soon = now.max(wish.from) + (missing / kw.max(1e-3) * 3_600.0) as i64 + BOOST_SLACK_S;
    // What a promise asks for stands at the end of a slot.
    let mut ends = problem.horizon.slots().iter().map(|slot| slot.end());
    if let Some(by) = ends.find(|end| *end >= soon).filter(|by| *by < problem.horizon.end()) {
        let mixed = litres * (hot - mains) / (useful - mains).max(1.0);
        problem.ready.push(Ready {
            store,
            by,
            volume: Volume::clamped(mixed),
            temperature: Temperature::clamped(useful),
            urgency: 1.0,
        });
    }
}

/// Nobody draws meanwhile. What is due then, or has stood for a week, is pasteurised
/// before somebody may draw again, and not earlier than the plan reaches.
fn away(problem: &mut Problem, wish: &Wish, rules: &[HygieneRule], now: Instant) -> Vec<String> {
    let mut notes = Vec::new();
    let spans = |at: Instant| wish.from <= at && at < wish.until;
    problem.draws.retain(|draw| !spans(draw.start));
    problem.ready.retain(|ready| !spans(ready.by));
    empty_house(problem, wish);
    for hygiene in &mut problem.hygiene {
        if spans(hygiene.due) || spans(now) && hygiene.due < wish.until {
            hygiene.due = wish.until;
        }
    }
    for rule in rules {
        let is_planned = problem.hygiene.iter().any(|hygiene| hygiene.store == rule.store);
        // Without a rule the last draw counts, as its water was in use until then.
        let since = if rule.is_of_file() {
            rule.last_proven
        } else {
            rule.last_proven.max(Some(wish.from))
        };
        let stood = since.is_none_or(|since| wish.until - since > STOOD_S);
        let store = &problem.site.stores[rule.store];
        if !is_planned && stood && !rule.is_of_file() && !holds(store, rule.temperature) {
            notes.push(format!(
                "the water of `{}` will have stood for a week and its heaters cannot bring all of it to {}; heat it as far as they can and run it off before use",
                store.name, rule.temperature
            ));
        } else if !is_planned && stood {
            problem.hygiene.push(Hygiene {
                store: rule.store,
                due: wish.until,
                temperature: rule.temperature,
                hold_seconds: (rule.hold_minutes * 60.0) as i64,
            });
        }
    }
    let end = problem.horizon.end();
    problem.hygiene.retain(|hygiene| hygiene.due <= end);
    if wish.from <= now && wish.until >= end {
        for store in &mut problem.site.stores {
            store.held_back = Volume::clamped(0.0);
        }
    }
    notes
}

/// Whether the heaters of a store can bring all of it to a temperature.
fn holds(store: &Store, temperature: Temperature) -> bool {
    store.highest_reach() >= temperature
        && (store.lowest_heated() <= 0.0 || store.destratification_pump)
}

/// When an element is held on or off; the last word wins.
fn by_hand(problem: &Problem, wishes: &[Wish], heater: HeaterId, now: Instant) -> Vec<ByHand> {
    let mut held: Vec<ByHand> = Vec::new();
    for wish in wishes {
        let is_own = |store: Option<usize>, element: Option<usize>| {
            store.is_none_or(|store| store == heater.store)
                && element.is_none_or(|element| element == heater.element)
        };
        let (until, on) = match wish.kind {
            WishKind::Boost { store, heater: element, until_c } if is_own(Some(store), element) => {
                let hot = until_c.map(|c| hot_at(problem, store, element, c, now.max(wish.from)));
                (hot.map_or(wish.until, |hot| hot.min(wish.until)), true)
            }
            WishKind::Off { store, heater: element } if is_own(store, element) => {
                (wish.until, false)
            }
            _ => continue,
        };
        let new = ByHand { heater, from: wish.from, until, on };
        let rest = held.into_iter().flat_map(|old| {
            let before = ByHand { until: old.until.min(new.from), ..old };
            let after = ByHand { from: old.from.max(new.until), ..old };
            [before, after]
        });
        held = rest.chain([new]).filter(|span| span.from < span.until).collect();
    }
    held
}

/// When a boost brings the water above its lowest element to a temperature, if
/// nobody draws.
fn hot_at(
    problem: &Problem,
    store: usize,
    element: Option<usize>,
    celsius: f64,
    from: Instant,
) -> Instant {
    let site = &problem.site.stores[store];
    let used = site.elements.iter().enumerate();
    let used = used.filter(|(index, _)| element.is_none_or(|element| element == *index));
    let (kw, lowest) = used.fold((0.0, 1.0_f64), |(kw, lowest), (_, element)| {
        (kw + element.power.kw(), lowest.min(element.height.value()))
    });
    let layers = &problem.state.stores[store];
    let (count, litres) = (layers.len() as f64, site.volume.litres() / layers.len() as f64);
    let above = layers.iter().enumerate().filter(|(i, _)| (*i as f64 + 0.5) / count >= lowest);
    let kwh: f64 =
        above.map(|(_, t)| water::heat_kwh(litres, (celsius - t.celsius()).max(0.0))).sum();
    from + (kwh / kw.max(1e-3) * 3_600.0).ceil() as i64
}

/// One more draw for every day of draws, beside the largest of that day.
fn guests(draws: &[Draw], people: u8, spans: &impl Fn(Instant) -> bool) -> Vec<Draw> {
    const DAY_S: i64 = 86_400;
    let mut largest: Vec<&Draw> = Vec::new();
    for draw in draws.iter().filter(|draw| spans(draw.start)) {
        let day = draw.start.unix().div_euclid(DAY_S);
        match largest.iter_mut().find(|held| held.start.unix().div_euclid(DAY_S) == day) {
            Some(held) if held.volume < draw.volume => *held = draw,
            Some(_) => {}
            None => largest.push(draw),
        }
    }
    largest
        .into_iter()
        .map(|draw| Draw {
            volume: Volume::clamped(GUEST_LITRES * f64::from(people)),
            temperature: Temperature::clamped(GUEST_CELSIUS),
            flow: Flow::clamped(GUEST_FLOW),
            ..*draw
        })
        .collect()
}
