//! What was asked for by hand, as parts of a planning problem.

use optimiser::problem::{Draw, Problem, Ready};
use optimiser::time::Instant;
use optimiser::units::{Flow, Temperature, Volume};

use crate::service::commands::{Wish, WishKind};

/// Litres at 40 °C that one more person takes a day, at the time of the largest
/// draw: daily use of 35 to 45 L a person (common practice, no published source).
const GUEST_LITRES: f64 = 40.0;
const GUEST_CELSIUS: f64 = 40.0;
const GUEST_FLOW: f64 = 8.0;

/// Puts the wishes into a problem. Boosts and offs are obeyed outside the plan,
/// which then follows the readings.
pub(super) fn apply(problem: &mut Problem, wishes: &[Wish], now: Instant) {
    for wish in wishes {
        let spans = |at: Instant| wish.from <= at && at < wish.until;
        match &wish.kind {
            WishKind::Away => {
                problem.draws.retain(|draw| !spans(draw.start));
                problem.ready.retain(|ready| !spans(ready.by));
                // Nobody draws meanwhile; it is due when somebody may again.
                for hygiene in &mut problem.hygiene {
                    if wish.from <= now && hygiene.due < wish.until {
                        hygiene.due = wish.until;
                    }
                }
                let end = problem.horizon.end();
                problem.hygiene.retain(|hygiene| hygiene.due <= end);
                if wish.from <= now && wish.until >= end {
                    for store in &mut problem.site.stores {
                        store.held_back = Volume::clamped(0.0);
                    }
                }
            }
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
                    });
                }
            }
            WishKind::Target { .. } | WishKind::Boost { .. } | WishKind::Off { .. } => {}
        }
    }
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
