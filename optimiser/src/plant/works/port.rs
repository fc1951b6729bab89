//! A sink as a source sees it: the temperature of its water and how it takes heat.

use super::super::scene::SlotAmbient;
use super::super::store::{Bench, StorePlant};
use super::{Inner, Works};
use crate::physics::coil::{EXCHANGER_K, SPREAD_K, exchanger};
use crate::site::Sink;
use crate::water::KWH_PER_LITRE_KELVIN;

/// A conductance that costs no temperature [kW/K].
const PERFECT: f64 = 1e9;

/// What a sink offers to a source in a step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Port {
    /// Water of the sink [°C].
    pub(super) water: f64,
    /// Heat for each kelvin between the mean of flow and return and the water [kW/K].
    pub(super) conductance: f64,
    /// Most heat that it takes in this step [kW].
    pub(super) most_kw: f64,
    /// It takes no hotter flow [°C].
    pub(super) hottest: f64,
}

impl Port {
    /// Flow temperature that passes a heat [°C].
    pub(super) fn flow_for(&self, kw: f64) -> f64 {
        self.water + 0.5 * SPREAD_K + kw / self.conductance
    }

    /// Most heat [kW] with a hottest flow.
    pub(super) fn heat_at(&self, flow: f64) -> f64 {
        (self.conductance * (flow - 0.5 * SPREAD_K - self.water)).clamp(0.0, self.most_kw)
    }
}

impl Works {
    /// The buffer's temperature that its circuits need for all that they can take [°C].
    pub(super) fn circuits_need(&self, inner: &Inner, ambient: &SlotAmbient) -> f64 {
        let room = &self.site.plant_room;
        let of = |sink: &Sink| match (sink, &room.rooms) {
            (Sink::Rooms, Some(rooms)) => rooms.curve.flow(ambient.outdoor),
            (Sink::Pool, _) => inner.pool + EXCHANGER_K + 0.5 * SPREAD_K,
            _ => 0.0,
        };
        room.buffer.iter().flat_map(|buffer| &buffer.feeds).map(of).fold(0.0, f64::max)
    }

    /// What a sink offers in a step of some hours.
    pub(super) fn port(
        &self,
        sink: Sink,
        stores: &[StorePlant],
        benches: &[Bench],
        inner: &Inner,
        ambient: &SlotAmbient,
        hours: f64,
    ) -> Port {
        let room = &self.site.plant_room;
        let nothing = Port { water: 0.0, conductance: PERFECT, most_kw: 0.0, hottest: 0.0 };
        match sink {
            Sink::Coil { store, coil } => {
                let site = &self.site.stores[store];
                let (tank, layers) = (&stores[store].tank, benches[store].water.layers());
                let band = self.coils[store][coil].clone();
                let count = band.len() as f64;
                let ceiling = site.ceiling.celsius();
                Port {
                    water: layers[band.clone()].iter().sum::<f64>() / count,
                    conductance: site.coils[coil].transfer.watts_per_kelvin() / 1_000.0,
                    most_kw: tank.headroom_kwh(layers, band.start, ceiling) / hours,
                    hottest: f64::INFINITY,
                }
            }
            Sink::Buffer => room.buffer.as_ref().map_or(nothing, |buffer| {
                let capacity = buffer.volume.litres() * KWH_PER_LITRE_KELVIN;
                Port {
                    // The source's return is the buffer's water.
                    water: inner.buffer + 0.5 * SPREAD_K,
                    conductance: PERFECT,
                    most_kw: (capacity * (buffer.ceiling.celsius() - inner.buffer) / hours)
                        .max(0.0),
                    hottest: f64::INFINITY,
                }
            }),
            Sink::Rooms => room.rooms.as_ref().map_or(nothing, |rooms| Port {
                water: inner.air,
                conductance: rooms.emitters.watts_per_kelvin() / 1_000.0,
                most_kw: if inner.air < rooms.limit.celsius() { f64::INFINITY } else { 0.0 },
                hottest: rooms.curve.flow(ambient.outdoor),
            }),
            Sink::Pool => room.pool.as_ref().map_or(nothing, |pool| {
                let room_left = pool.capacity_kwh_per_k() * (pool.limit.celsius() - inner.pool);
                Port {
                    water: inner.pool,
                    conductance: exchanger(pool.exchanger.kw()),
                    most_kw: (room_left / hours).clamp(0.0, pool.exchanger.kw()),
                    hottest: f64::INFINITY,
                }
            }),
        }
    }
}
