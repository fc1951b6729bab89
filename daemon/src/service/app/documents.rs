//! The documents of the own tree, from what is known now.

use optimiser::time::Instant;

use super::view::View;
use crate::service::commands::WishKind;
use crate::service::readings::Freshness;
use crate::service::wire::{
    Availability, AvailabilityState, Fault, Faults, Health, InputHealth, Mode, Stamp, StoreState,
};

/// Documents that are refreshed every minute hold for three [s].
const HOLDS_S: i64 = 180;

/// Whether the service is there.
pub(super) fn availability(boot_id: &str, online_at: Option<Instant>) -> Availability {
    Availability {
        schema: "stowheat/availability/1".to_owned(),
        boot_id: boot_id.to_owned(),
        state: match online_at {
            Some(_) => AvailabilityState::Online,
            None => AvailabilityState::Offline,
        },
        valid_until: online_at.map(|now| Stamp(now + HOLDS_S)),
    }
}

/// What is wrong.
pub(super) fn faults(now: Instant, faults: &[Fault]) -> Faults {
    Faults {
        schema: "stowheat/faults/1".to_owned(),
        issued_at: Stamp(now),
        faults: faults.to_vec(),
    }
}

/// How the service is.
pub(super) fn health(view: &View<'_>, boot_id: &str) -> Health {
    let now = view.now;
    let age = |freshness| match freshness {
        Freshness::Missing => None,
        Freshness::Fresh(reading) => Some(now - reading.at),
        Freshness::Stale { age_s, .. } => Some(age_s),
    };
    let inputs = view.state.inputs().iter().map(|input| InputHealth {
        input: input.name.clone(),
        age_s: age(input.gate.freshness(now)),
        refused: input.gate.refused().values().sum(),
    });
    Health {
        schema: "stowheat/health/1".to_owned(),
        boot_id: boot_id.to_owned(),
        issued_at: Stamp(now),
        valid_until: Stamp(now + HOLDS_S),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        schedule: Some(view.state.rung(now).to_owned()),
        schedule_age_s: view.state.current(now).map(|current| now - current.issued_at),
        clock_synchronised: view.state.clock_is_right(),
        persisted: view.state.is_persisted(),
        estimates: view.made.map_or_else(Vec::new, |made| made.notes.clone()),
        inputs: inputs.collect(),
    }
}

/// What is known of a store.
pub(super) fn store(view: &View<'_>, index: usize) -> StoreState {
    let (store, estimate) = (&view.house.site.stores[index], &view.stores[index]);
    let tenth = |number: f64| (number * 10.0).round() / 10.0;
    StoreState {
        schema: "stowheat/store/1".to_owned(),
        issued_at: Stamp(view.now),
        valid_until: Stamp(view.now + HOLDS_S),
        store: store.name.clone(),
        measured: estimate.measured,
        top_c: tenth(estimate.profile[estimate.profile.len() - 1]),
        bottom_c: tenth(estimate.profile[0]),
        stored_kwh: (estimate.stored_kwh(store) * 1_000.0).round() / 1_000.0,
        usable_litres: tenth(estimate.usable_litres(store)),
        mode: mode(view, Some(index)),
    }
}

/// Who decides over a store, or over all.
pub(super) fn mode(view: &View<'_>, index: Option<usize>) -> Mode {
    let wishes = view.state.overrides().wishes().iter();
    let present = wishes.filter(|wish| wish.from <= view.now && view.now < wish.until).rev();
    for wish in present {
        match wish.kind {
            WishKind::Boost { store, .. } if index.is_none_or(|index| index == store) => {
                return Mode::Boost;
            }
            WishKind::Off { store, .. }
                if store.is_none() || (index.is_some() && store == index) =>
            {
                return Mode::Off;
            }
            WishKind::Away => return Mode::Away,
            _ => {}
        }
    }
    Mode::Plan
}
