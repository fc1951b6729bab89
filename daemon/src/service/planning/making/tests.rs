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
        published: None,
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
