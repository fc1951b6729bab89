//! The documents of the own tree, from what is known now.

use optimiser::site::Sink;
use optimiser::time::Instant;
use optimiser::units::Temperature;

use super::plant_room;
use super::view::View;
use crate::house::House;
use crate::service::commands::{Feeder, WishKind};
use crate::service::readings::Freshness;
use crate::service::setpoints::Due;
use crate::service::state::SourceOrder;
use crate::service::wire::{
    Availability, AvailabilityState, Contacts, Fault, Faults, Health, InputHealth, Mode, SinkState,
    SourceSetPoint, Stamp, StoreState,
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

/// What is known of buffer, rooms or pool.
pub(super) fn sink(view: &View<'_>, sink: Sink, name: String) -> Option<SinkState> {
    let celsius = |t: Temperature| tenth(t.celsius());
    let comfort = plant_room::comfort(view, sink);
    let mass = view.room.now.rooms.filter(|_| sink == Sink::Rooms).map(|rooms| rooms.mass);
    Some(SinkState {
        schema: "stowheat/sink/1".to_owned(),
        issued_at: Stamp(view.now),
        valid_until: Stamp(view.now + HOLDS_S),
        sink: name,
        measured: view.room.is_measured(sink),
        temperature_c: celsius(view.room.of(sink)?),
        mass_c: mass.map(celsius),
        low_c: comfort.map(|band| celsius(band.low)),
        high_c: comfort.map(|band| celsius(band.high)),
        mode: sink_mode(view, sink),
    })
}

/// What a source or circuit is to do.
pub(super) fn source_set_point(
    house: &House,
    boot_id: &str,
    source: String,
    due: Due<SourceOrder>,
) -> SourceSetPoint {
    SourceSetPoint {
        schema: "stowheat/source-set-point/1".to_owned(),
        boot_id: boot_id.to_owned(),
        seq: due.seq,
        issued_at: Stamp(due.issued_at),
        valid_until: Stamp(due.valid_until),
        source,
        sink: due.order.sink.map(|sink| house.sink_name(sink)),
        heat_w: due.order.heat_w,
        flow_c: due.order.flow.map(Temperature::celsius),
        request: due.order.request.map(Contacts::from),
        reason: due.reason,
    }
}

fn tenth(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

/// Who decides over buffer, rooms or pool.
fn sink_mode(view: &View<'_>, sink: Sink) -> Mode {
    let all = mode(view, None);
    let wishes = view.state.overrides().wishes().iter();
    let mut present = wishes.filter(|wish| wish.from <= view.now && view.now < wish.until);
    let by_hand = present.any(|wish| match wish.kind {
        WishKind::FeederOff(feeder) => feeder == Feeder::Circuit(sink),
        _ => false,
    });
    if by_hand || all == Mode::Off { Mode::Off } else { Mode::Plan }
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
