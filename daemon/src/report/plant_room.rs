//! The whole plant room drawn: electricity above, machines below it, a pipe for each
//! source, and the sinks at the foot.

use optimiser::site::{Sink, Source, Store};

use super::plant::BUS;
use super::plot::WIDTH;
use crate::house::House;
use crate::present::digits::text;
use crate::present::svg::{Anchor, Svg};

/// Top of the machines, and their height [px].
const MACHINES: (f64, f64) = (130.0, 46.0);

/// First pipe, and the distance between pipes [px].
const PIPES: (f64, f64) = (208.0, 18.0);

/// Height of the tallest vessel [px].
const TALLEST: f64 = 150.0;

/// Half of a vessel's width [px].
const HALF: f64 = 38.0;

/// Kinds of line that pipes are told apart by, in colour and in grey.
const KINDS: [&str; 4] = ["w1", "w0", "w2", "w3"];

/// Height of the picture [px].
pub(super) fn height(house: &House) -> f64 {
    Layout::of(house).foot + 34.0
}

/// Everything but what stands above the line of electricity.
pub(super) fn draw(svg: &mut Svg, house: &House) {
    let layout = Layout::of(house);
    layout.wires(svg);
    layout.machines(svg);
    layout.vessels(svg);
    layout.pipes(svg);
}

/// A sink with its place.
struct Vessel {
    what: Option<usize>,
    is: Sink,
    middle: f64,
    top: f64,
}

struct Layout<'a> {
    house: &'a House,
    /// Sources that have pipes, the machines first.
    sources: Vec<Source>,
    vessels: Vec<Vessel>,
    foot: f64,
}

impl<'a> Layout<'a> {
    fn of(house: &'a House) -> Self {
        let room = &house.site.plant_room;
        let sources = room.sources();
        let foot = PIPES.0 + PIPES.1 * sources.len() as f64 + 18.0 + TALLEST;
        let mut sinks: Vec<(Option<usize>, Sink, f64)> = Vec::new();
        let litres = |store: &Store| store.volume.litres();
        let buffer = room.buffer.as_ref().map(|b| b.volume.litres());
        let most = house.site.stores.iter().map(litres).chain(buffer).fold(1.0, f64::max);
        let tall = |litres: f64| (TALLEST * (litres / most).cbrt()).max(40.0);
        for (index, store) in house.site.stores.iter().enumerate() {
            sinks.push((Some(index), Sink::Coil { store: index, coil: 0 }, tall(litres(store))));
        }
        sinks.extend(buffer.map(|litres| (None, Sink::Buffer, tall(litres))));
        sinks.extend(room.rooms.map(|_| (None, Sink::Rooms, 60.0)));
        sinks.extend(room.pool.map(|_| (None, Sink::Pool, 44.0)));
        let step = WIDTH / sinks.len() as f64;
        let vessels = sinks.into_iter().enumerate().map(|(place, (what, is, height))| Vessel {
            what,
            is,
            middle: step * (place as f64 + 0.5),
            top: foot - height,
        });
        Self { house, sources, vessels: vessels.collect(), foot }
    }

    fn vessel(&self, sink: Sink) -> Option<&Vessel> {
        self.vessels.iter().find(|vessel| match (vessel.is, sink) {
            (Sink::Coil { store: a, .. }, Sink::Coil { store: b, .. }) => a == b,
            (a, b) => a == b,
        })
    }

    /// Machines that stand in the middle row.
    fn row(&self) -> Vec<Source> {
        let stands = |s: &Source| !matches!(s, Source::Immersion | Source::Buffer);
        self.sources.iter().copied().filter(stands).collect()
    }

    fn machine(&self, source: Source) -> Option<f64> {
        let row = self.row();
        let place = row.iter().position(|other| *other == source)?;
        Some(WIDTH / row.len() as f64 * (place as f64 + 0.5))
    }

    /// Electricity to heat pumps and elements; the boxes hide what passes behind.
    fn wires(&self, svg: &mut Svg) {
        for source in self.row() {
            if let (Source::HeatPump(_), Some(middle)) = (source, self.machine(source)) {
                svg.line("wire", (middle, BUS), (middle, MACHINES.0));
            }
        }
        for vessel in &self.vessels {
            for (number, height) in self.elements(vessel).into_iter().enumerate() {
                let x = vessel.middle + HALF + 9.0 + 9.0 * number as f64;
                let y = self.at(vessel, height);
                svg.path("wire", &[(x, BUS), (x, y), (vessel.middle + HALF, y)], false);
            }
        }
    }

    /// Heights of the elements of a vessel, as shares.
    fn elements(&self, vessel: &Vessel) -> Vec<f64> {
        match (vessel.what, vessel.is) {
            (Some(store), _) => {
                self.house.site.stores[store].elements.iter().map(|e| e.height.value()).collect()
            }
            (None, Sink::Buffer) if self.sources.contains(&Source::Immersion) => vec![0.2],
            _ => Vec::new(),
        }
    }

    fn at(&self, vessel: &Vessel, share: f64) -> f64 {
        self.foot - share * (self.foot - vessel.top)
    }

    fn machines(&self, svg: &mut Svg) {
        let row = self.row();
        let width = (WIDTH / row.len().max(1) as f64 - 16.0).min(170.0);
        for source in row {
            let Some(middle) = self.machine(source) else { continue };
            svg.rect("box", (middle - 0.5 * width, MACHINES.0), width, MACHINES.1);
            let (name, what) = self.caption(source);
            svg.text("panel", Anchor::Middle, (middle, MACHINES.0 + 19.0), &name);
            svg.text("unit", Anchor::Middle, (middle, MACHINES.0 + 36.0), &what);
        }
    }

    fn caption(&self, source: Source) -> (String, String) {
        let room = &self.house.site.plant_room;
        let what = match source {
            Source::HeatPump(index) => {
                format!("heat pump, flow to {}", room.heat_pumps[index].flow_limit)
            }
            Source::Boiler => room.boiler.as_ref().map_or_else(String::new, |b| {
                let spare = if b.back_up_only { ", back-up" } else { "" };
                format!("{}{spare}", b.power)
            }),
            Source::Collectors => room
                .collectors
                .as_ref()
                .map_or_else(String::new, |sun| format!("{} m² of sun", sun.area_m2)),
            Source::Immersion | Source::Buffer => String::new(),
        };
        (self.house.source_name(source), what)
    }

    fn vessels(&self, svg: &mut Svg) {
        for vessel in &self.vessels {
            let (left, height) = (vessel.middle - HALF, self.foot - vessel.top);
            svg.rect("box", (left, vessel.top), 2.0 * HALF, height);
            for share in self.elements(vessel) {
                let y = self.at(vessel, share);
                zigzag(svg, "top", (vessel.middle + 6.0, vessel.middle + HALF), y);
            }
            let room = &self.house.site.plant_room;
            let (name, size) = match (vessel.what, vessel.is) {
                (Some(index), _) => {
                    let store = &self.house.site.stores[index];
                    (store.name.clone(), store.volume.to_string())
                }
                (None, sink) => {
                    let size = match sink {
                        Sink::Buffer => room.buffer.as_ref().map(|b| b.volume.to_string()),
                        Sink::Rooms => room.rooms.map(|rooms| {
                            format!("{} W/K", text(rooms.loss().watts_per_kelvin(), 0))
                        }),
                        Sink::Pool => room.pool.map(|p| format!("{} m²", p.surface_m2)),
                        Sink::Coil { .. } => None,
                    };
                    (self.house.sink_name(sink), size.unwrap_or_default())
                }
            };
            svg.text("panel", Anchor::Middle, (vessel.middle, self.foot + 16.0), &name);
            svg.text("unit", Anchor::Middle, (vessel.middle, self.foot + 30.0), &size);
        }
    }

    /// A pipe for each source, with a branch to each of its sinks.
    fn pipes(&self, svg: &mut Svg) {
        let pipes = self.sources.iter().filter(|source| **source != Source::Immersion);
        for (number, &source) in pipes.enumerate() {
            let (lane, kind) = (PIPES.0 + PIPES.1 * number as f64, KINDS[number % KINDS.len()]);
            let from = match source {
                Source::Buffer => self.vessel(Sink::Buffer).map(|v| (v.middle + 14.0, v.top)),
                machine => self.machine(machine).map(|x| (x, MACHINES.0 + MACHINES.1)),
            };
            let Some(from) = from else { continue };
            svg.line(kind, from, (from.0, lane));
            let mut ends = vec![from.0];
            for route in self.house.site.plant_room.routes() {
                let vessel = self.vessel(route.sink).filter(|_| route.source == source);
                let Some(vessel) = vessel else { continue };
                ends.push(self.branch(svg, kind, (number, lane), (vessel, route.sink)));
            }
            let (low, high) =
                ends.iter().fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(*x), h.max(*x)));
            svg.line(kind, (low, lane), (high, lane));
            svg.text(
                "haloed",
                Anchor::Start,
                (low + 4.0, lane - 4.0),
                &self.house.source_name(source),
            );
        }
    }

    /// From a pipe into a vessel; where along the pipe it leaves.
    fn branch(
        &self,
        svg: &mut Svg,
        kind: &str,
        (number, lane): (usize, f64),
        (vessel, sink): (&Vessel, Sink),
    ) -> f64 {
        match sink {
            Sink::Coil { store, coil } => {
                let coil = &self.house.site.stores[store].coils[coil];
                let y = self.at(vessel, 0.5 * (coil.bottom.value() + coil.top.value()));
                let x = vessel.middle - HALF - 8.0 - 8.0 * number as f64;
                svg.path(kind, &[(x, lane), (x, y), (vessel.middle - HALF, y)], false);
                zigzag(svg, "wire", (vessel.middle - HALF, vessel.middle), y);
                x
            }
            Sink::Buffer | Sink::Rooms | Sink::Pool => {
                let x = vessel.middle - 24.0 + 10.0 * number as f64;
                svg.line(kind, (x, lane), (x, vessel.top));
                x
            }
        }
    }
}

/// A coil or an element in a vessel.
pub(super) fn zigzag(svg: &mut Svg, class: &str, (from, to): (f64, f64), y: f64) {
    let step = (to - from) / 8.0;
    let points: Vec<(f64, f64)> = [0.0, -4.0, 0.0, 4.0, 0.0, -4.0, 0.0, 4.0, 0.0]
        .into_iter()
        .enumerate()
        .map(|(index, off)| (from + step * index as f64, y + off))
        .collect();
    svg.path(class, &points, false);
}

#[cfg(test)]
mod tests {
    use super::super::plant::figure;
    use super::*;
    use crate::site_file;

    fn house(site: &str) -> House {
        site_file::read(site, "site").expect("a good site").house
    }

    // Whatever the houses have is drawn within the picture and stands in its table.
    #[test]
    fn every_source_and_sink_is_in_the_picture() {
        for site in [
            include_str!("../../../fixtures/sites/kiln-house.toml"),
            include_str!("../../../fixtures/sites/weir-lodge.toml"),
            include_str!("../../../fixtures/sites/old-foundry.toml"),
        ] {
            let house = house(site);
            let picture = figure(&house);
            for source in house.site.plant_room.sources() {
                let name = house.source_name(source);
                let drawn = picture.svg.contains(&format!(">{name}</text>"));
                assert!(drawn || source == Source::Immersion, "{name}\n{}", picture.svg);
                assert!(picture.finding.contains(&format!("{name}: ")), "{}", picture.finding);
            }
            for route in house.site.plant_room.routes() {
                let layout = Layout::of(&house);
                let vessel = layout.vessel(route.sink).expect("each sink has a vessel");
                assert!(vessel.top > PIPES.0 && vessel.top < layout.foot);
                assert!(vessel.middle > 2.0 * HALF && vessel.middle < WIDTH - 2.0 * HALF);
            }
        }
    }
}
