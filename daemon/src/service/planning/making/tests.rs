use optimiser::schedule::Origin as Rung;
use optimiser::time::Slot;

use super::*;
use crate::service::commands::{Wish, WishKind};
use crate::site_file;

const SITE: &str = include_str!("../../../../../fixtures/sites/mill-cottage.toml");

fn at() -> Instant {
    // 06:00 in Dublin, a Thursday.
    Instant::from_unix(1_768_456_800)
}

fn snapshot(site: &str) -> Snapshot {
    let house = site_file::read(site, "site").expect("a good site").house;
    Snapshot {
        at: at(),
        stores: house.state.stores.clone(),
        battery: house.state.battery,
        proven: vec![Some(at()); house.hygiene.len()],
        house: Arc::new(house),
        known: Arc::default(),
        wishes: vec![],
        unpriced: vec![],
        published: None,
        change_share: 0.005,
        taste: Taste::Quick,
    }
}

fn made(snapshot: &Snapshot) -> Made {
    make(snapshot, &mut Planner::default()).expect("a schedule")
}

fn heat(made: &Made, span: Slot) -> f64 {
    let slots = made.schedule.slots.iter().filter(|plan| span.contains(plan.slot.start()));
    slots.flat_map(|plan| &plan.heaters).map(|run| run.energy.kwh()).sum()
}

#[test]
fn a_schedule_holds_for_six_hours_and_says_its_rung() {
    let made = made(&snapshot(SITE));
    assert_eq!(made.valid_until - made.issued_at, HOLDS_S);
    assert_eq!(made.schedule.origin, Rung::Optimal);
    assert_eq!(made.fell_because, None);
}

#[test]
fn without_prices_the_promises_are_kept_and_it_says_so() {
    let begin = SITE.find("bands = [").expect("the bands");
    let end = SITE[begin..].find("\n]\n").expect("their end") + begin + 3;
    let site = format!("{}factor = 1\n{}", &SITE[..begin], &SITE[end..]);
    let made = made(&snapshot(&site));
    assert_eq!(made.fell_because.as_deref(), Some(NO_PRICES));
    assert_eq!(made.published_until, at(), "no price of it is published");
    assert!(made.schedule.unmet_litres < 5.0, "{}", made.schedule.unmet_litres);
}

#[test]
fn when_the_solver_hangs_the_rule_stands_in() {
    let snapshot = Snapshot { taste: Taste::ByRule, ..snapshot(SITE) };
    let made = made(&snapshot);
    assert_eq!(made.schedule.origin, Rung::Rule);
    assert!(made.fell_because.is_some_and(|why| why.contains("did not answer in time")));
}

#[test]
fn who_is_away_is_not_heated_for() {
    let at_home = snapshot(SITE);
    let day = Slot::new(at(), at() + 86_400).expect("a slot");
    let away = Wish { id: "a".into(), from: at(), until: at() + 5 * 86_400, kind: WishKind::Away };
    let gone = Snapshot { wishes: vec![away], ..at_home.clone() };
    let (home, gone) = (heat(&made(&at_home), day), heat(&made(&gone), day));
    assert!(home > 2.0 && gone < 0.2 * home, "{home} kWh and {gone} kWh");
}

#[test]
fn guests_need_more_heat() {
    let quiet = snapshot(SITE);
    let two_days = Slot::new(at(), at() + 2 * 86_400).expect("a slot");
    let until = at() + 36 * 3_600;
    let wish = Wish { id: "w".into(), from: at(), until, kind: WishKind::Guests(3) };
    let more = Snapshot { wishes: vec![wish], ..quiet.clone() };
    let (quiet, more) = (heat(&made(&quiet), two_days), heat(&made(&more), two_days));
    assert!(more > quiet + 0.5, "{quiet} kWh and {more} kWh");
}

#[test]
fn a_promise_by_hand_stands_ready() {
    let until = at() + 36 * 3_600;
    let kind =
        WishKind::ReadyBy { store: 0, litres: 180.0, temperature: Temperature::constant(40.0) };
    let wish = Wish { id: "w".into(), from: at(), until, kind };
    let made = made(&Snapshot { wishes: vec![wish], ..snapshot(SITE) });
    let before = made.schedule.slots.iter().rev().find(|slot| slot.slot.end() <= until);
    let ready = before.expect("the promise lies in the plan").stores[0].usable_litres;
    assert!(ready >= 175.0, "{ready} L");
}

#[test]
fn nothing_new_leaves_the_schedule_as_it_is() {
    let mut snapshot = Snapshot { taste: Taste::Thorough, ..snapshot(SITE) };
    let mut planner = Planner::default();
    let first = Arc::new(make(&snapshot, &mut planner).expect("a schedule"));
    snapshot.published = Some(Arc::clone(&first));
    let second = make(&snapshot, &mut planner).expect("a schedule");
    let moved: f64 = first
        .schedule
        .slots
        .iter()
        .zip(&second.schedule.slots)
        .flat_map(|(a, b)| a.heaters.iter().zip(&b.heaters))
        .map(|(a, b)| (a.energy.kwh() - b.energy.kwh()).abs())
        .sum();
    let all: f64 =
        first.schedule.slots.iter().flat_map(|s| &s.heaters).map(|h| h.energy.kwh()).sum();
    assert!(moved < 0.05 * all, "{moved} of {all} kWh moved");
}

fn wish(hours: std::ops::Range<f64>, kind: WishKind) -> Wish {
    let instant = |hour: f64| at() + (hour * 3_600.0) as i64;
    Wish { id: "w".into(), from: instant(hours.start), until: instant(hours.end), kind }
}

fn boost(hours: std::ops::Range<f64>, until_c: Option<f64>) -> Wish {
    wish(hours, WishKind::Boost { store: 0, heater: None, until_c })
}

fn off(hours: std::ops::Range<f64>) -> Wish {
    wish(hours, WishKind::Off { store: None, heater: None })
}

fn first_hours(hours: i64) -> Slot {
    Slot::new(at(), at() + hours * 3_600).expect("a slot")
}

// C44: a boost at the dear time is part of the plan, and priced against the plan
// without it.
#[test]
fn a_boost_is_planned_and_priced() {
    let plain = Snapshot { taste: Taste::Thorough, ..snapshot(SITE) };
    let boosted = Snapshot {
        wishes: vec![boost(11.0..12.0, None)],
        unpriced: vec!["w".into()],
        ..plain.clone()
    };
    let mut planner = Planner::default();
    let (without, with) = (made(&plain), make(&boosted, &mut planner).expect("a schedule"));
    let hour = Slot::new(at() + 39_600, at() + 43_200).expect("a slot");
    let (least, more) = (heat(&without, hour), heat(&with, hour));
    // Until the thermostat cuts it off at 65 °C.
    assert!(more > least + 0.9, "{more} kWh with it, {least} kWh without");
    let priced = price(&boosted, &with, &mut planner);
    assert_eq!(priced.len(), 1);
    let cost = with.schedule.cost.total() - without.schedule.cost.total();
    assert!(priced[0].id == "w" && (priced[0].minor - cost).abs() < 1.0, "{priced:?} {cost}");
    assert!(priced[0].minor > 0.0, "what nobody would have chosen costs: {priced:?}");
}

#[test]
fn a_boost_until_a_temperature_is_planned_until_then() {
    let dear = priced(|hour| if hour < 6 { 60.0 } else { 10.0 });
    let boosted = |until_c| {
        let wishes = vec![boost(0.0..6.0, Some(until_c))];
        heat(&made(&Snapshot { wishes, ..snapshot(&dear) }), first_hours(6))
    };
    let (some, more) = (boosted(50.0), boosted(62.0));
    assert!(some > 0.1 && more > some + 0.5, "{some} kWh and {more} kWh");
}

#[test]
fn an_off_by_hand_is_planned_around_and_a_later_boost_has_the_last_word() {
    let made = |wishes| made(&Snapshot { wishes, ..snapshot(SITE) });
    let idle = made(vec![off(0.0..10.0)]);
    assert!(heat(&idle, first_hours(10)) < 1e-6);
    let both = made(vec![off(0.0..10.0), boost(2.0..3.0, None)]);
    let hour = Slot::new(at() + 7_200, at() + 10_800).expect("a slot");
    assert!(heat(&both, hour) > 1.0, "{} kWh in the boost", heat(&both, hour));
    assert!((heat(&both, first_hours(10)) - heat(&both, hour)).abs() < 1e-6, "and none beside");
}

/// The small site with this price by half-hour of the first day, and the same again.
fn priced(price: impl Fn(usize) -> f64) -> String {
    let begin = SITE.find("bands = [").expect("the bands");
    let end = SITE[begin..].find("\n]\n").expect("their end") + begin + 3;
    // 06:00 in Dublin is hour 0 of these prices.
    let bands: Vec<String> = (0..24)
        .map(|hour| {
            let (from, until) = ((hour + 6) % 24, (hour + 7) % 24);
            let rate = price(hour);
            format!("{{ from = \"{from:02}:00\", until = \"{until:02}:00\", rate_minor_per_kwh = {rate} }}")
        })
        .collect();
    format!("{}bands = [{}]\n{}", &SITE[..begin], bands.join(", "), &SITE[end..])
}

fn runs(made: &Made) -> Vec<(i64, i64)> {
    let slots = made.schedule.slots.iter();
    slots
        .flat_map(|slot| slot.heaters.iter().map(|run| (slot.slot.start().unix(), run)))
        .filter(|(_, run)| run.minutes > 0.5)
        .map(|(start, run)| (start, run.minutes.round() as i64))
        .collect()
}

// Prices that move a little do not move the heaters; prices that move much do.
#[test]
fn a_schedule_changes_only_when_that_pays() {
    let price = |hour: usize| 20.0 + (hour % 5) as f64;
    let mut planner = Planner::default();
    let snapshot = Snapshot { taste: Taste::Thorough, ..snapshot(&priced(price)) };
    let first = Arc::new(make(&snapshot, &mut planner).expect("a schedule"));
    assert!(!runs(&first).is_empty());
    let again = |price: &dyn Fn(usize) -> f64, published: &Arc<Made>, share: f64| {
        let house = site_file::read(&priced(price), "site").expect("a good site").house;
        Snapshot {
            house: Arc::new(house),
            published: Some(Arc::clone(published)),
            change_share: share,
            ..snapshot.clone()
        }
    };
    // The order of the cheapest hours turns round, by a hundredth.
    let nearly = |hour: usize| 22.0 + 0.001 * (4 - hour % 5) as f64;
    let kept = make(&again(&nearly, &first, 0.005), &mut planner).expect("a schedule");
    assert_eq!(runs(&kept), runs(&first), "a change that saves nothing is not made");
    let turned = |hour: usize| 20.0 + 10.0 * (4 - hour % 5) as f64;
    let moved = make(&again(&turned, &first, 0.005), &mut planner).expect("a schedule");
    assert_ne!(runs(&moved), runs(&first), "a change that saves is made");
    let stubborn = make(&again(&turned, &first, 1.0), &mut planner).expect("a schedule");
    assert_eq!(runs(&stubborn), runs(&first), "unless the site wants it saved twice over");
    // The store was drained meanwhile: the old plan leaves somebody cold.
    let drained = vec![vec![Temperature::constant(15.0); 3]];
    let cold = Snapshot { stores: drained, ..again(&price, &first, 1.0) };
    let mended = make(&cold, &mut planner).expect("a schedule");
    assert_ne!(runs(&mended), runs(&first), "a plan that fails is replaced, whatever it saves");
}
