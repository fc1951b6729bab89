//! Sources of the plant room, and how warm buffer, rooms and pool are.

use optimiser::schedule::{Job, SlotPlan};
use optimiser::site::Source;
use optimiser::units::Temperature;

use super::lines::{level, shape};
use super::{Kind, Panel, fed, mean_powers};
use crate::present::chart::frame::{Frame, plain_number};
use crate::present::chart::labels::{Labels, Mark};
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};
use crate::present::{Plan, jobs};

/// A part of the plant room that holds heat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    Buffer,
    Rooms,
    Pool,
}

impl Part {
    const ALL: [Self; 3] = [Self::Buffer, Self::Rooms, Self::Pool];

    fn name(self) -> &'static str {
        match self {
            Self::Buffer => "Buffer",
            Self::Rooms => "Rooms",
            Self::Pool => "Pool",
        }
    }

    fn at(self, slot: &SlotPlan) -> Option<Temperature> {
        match self {
            Self::Buffer => slot.plant_room.buffer,
            Self::Rooms => slot.plant_room.rooms.map(|rooms| rooms.air),
            Self::Pool => slot.plant_room.pool,
        }
    }

    fn at_start(self, plan: &Plan<'_>) -> Option<Temperature> {
        let state = &plan.problem.state.plant_room;
        match self {
            Self::Buffer => state.buffer,
            Self::Rooms => state.rooms.map(|rooms| rooms.air),
            Self::Pool => state.pool,
        }
    }

    /// Lowest comfort of a slot [°C].
    fn low(self, plan: &Plan<'_>, slot: usize) -> Option<f64> {
        let comfort = &plan.problem.comfort;
        let band = match self {
            Self::Buffer => None,
            Self::Rooms => comfort.rooms.as_ref(),
            Self::Pool => comfort.pool.as_ref(),
        };
        band.map(|band| band[slot].low.celsius())
    }
}

/// A panel for each source: electricity of a heat pump and the buffer's element by
/// where it came from, heat of boiler and collectors.
pub(super) fn sources(plan: &Plan<'_>) -> Vec<Panel> {
    let mut sources: Vec<Source> =
        plan.problem.site.plant_room.routes().iter().map(|route| route.source).collect();
    sources.dedup();
    sources.retain(|source| *source != Source::Buffer);
    sources
        .into_iter()
        .map(|source| {
            let most = mean_powers(plan, |slot| of(slot, source).map(|job| kwh(job, source)).sum())
                .map(|(_, kw)| kw)
                .fold(0.5, f64::max);
            Panel {
                kind: Kind::Source(source),
                title: title(plan, source),
                unit: "kW, mean of each slot".to_owned(),
                scale: Scale::around(0.0, most, 3.0, (0.0, 0.06)),
                height: 58.0,
                strip: 0.0,
            }
        })
        .collect()
}

/// What the panel of a source shows, with the heat that its electricity made.
fn title(plan: &Plan<'_>, source: Source) -> String {
    let sum = jobs::Sum::of(plan.slots().iter().flat_map(|slot| of(slot, source)));
    match source {
        Source::HeatPump(_) => {
            let made = sum.cop().map(|cop| format!("; heat {:.1} kWh, COP {cop:.1}", sum.heat));
            let name = plan.house.source_name(source);
            format!("Heat pump {name}, electricity{}", made.unwrap_or_default())
        }
        Source::Boiler => "Boiler, heat".to_owned(),
        Source::Collectors => "Collectors, heat".to_owned(),
        Source::Immersion => "Element of the buffer, electricity".to_owned(),
        Source::Buffer => "Buffer, heat".to_owned(),
    }
}

fn is_electric(source: Source) -> bool {
    matches!(source, Source::HeatPump(_) | Source::Immersion)
}

fn kwh(job: &Job, source: Source) -> f64 {
    if is_electric(source) { job.electricity.kwh() } else { job.heat.kwh() }
}

fn of(slot: &SlotPlan, source: Source) -> impl Iterator<Item = &Job> {
    slot.jobs.iter().filter(move |job| job.route.source == source)
}

pub(super) fn source(
    plan: &Plan<'_>,
    source: Source,
    svg: &mut Svg,
    frame: &Frame<'_>,
    labels: &mut Labels,
) {
    let sum = jobs::Sum::of(plan.slots().iter().flat_map(|slot| of(slot, source)));
    if is_electric(source) {
        fed(plan, |slot| jobs::Sum::of(of(slot, source)).electricity, svg, frame, labels);
        return;
    }
    frame.grid(svg, plain_number);
    let class = if source == Source::Collectors { "fill-sun" } else { "fill-grid" };
    let bars: Vec<_> = mean_powers(plan, |slot| of(slot, source).map(|job| job.heat.kwh()).sum())
        .map(|(slot, kw)| (slot.slot.start(), slot.slot.end(), 0.0, kw))
        .collect();
    for run in bars.chunk_by(|a, b| (a.3 > 0.005) == (b.3 > 0.005)) {
        if run[0].3 > 0.005 {
            svg.path(class, &shape(frame, run), true);
        }
    }
    if sum.heat >= 0.005 {
        labels.add(frame.top + 8.0, Mark::Area(class), format!("heat {:.1} kWh", sum.heat));
    } else {
        let place = (frame.time.right + 12.0, frame.top + 0.5 * frame.height + 4.0);
        svg.text("label", Anchor::Start, place, "off throughout");
    }
}

/// A panel for each of buffer, rooms and pool.
pub(super) fn parts(plan: &Plan<'_>) -> Vec<Panel> {
    Part::ALL
        .into_iter()
        .filter_map(|part| {
            let start = part.at_start(plan)?.celsius();
            let lows = (0..plan.slots().len()).filter_map(|slot| part.low(plan, slot));
            let ends =
                plan.slots().iter().filter_map(|slot| part.at(slot)).map(Temperature::celsius);
            let (low, high) = ends
                .chain(lows)
                .fold((start, start), |(low, high), celsius| (low.min(celsius), high.max(celsius)));
            let unit = if part == Part::Buffer { "°C" } else { "°C; dashed: lowest comfort" };
            Some(Panel {
                kind: Kind::Warmth(part),
                title: part.name().to_owned(),
                unit: unit.to_owned(),
                scale: Scale::around(low, high.max(low + 1.0), 3.0, (0.1, 0.1)),
                height: 66.0,
                strip: 0.0,
            })
        })
        .collect()
}

pub(super) fn warmth(
    plan: &Plan<'_>,
    part: Part,
    svg: &mut Svg,
    frame: &Frame<'_>,
    labels: &mut Labels,
) {
    frame.grid(svg, plain_number);
    let start = part.at_start(plan).map_or(0.0, Temperature::celsius);
    let lows: Vec<(f64, f64)> = plan
        .slots()
        .iter()
        .enumerate()
        .filter_map(|(index, slot)| Some((slot.slot, part.low(plan, index)?)))
        .flat_map(|(slot, low)| [frame.point(slot.start(), low), frame.point(slot.end(), low)])
        .collect();
    if !lows.is_empty() {
        svg.path("use", &lows, false);
    }
    let line = level(plan, frame, start, |slot| part.at(slot).map_or(start, Temperature::celsius));
    svg.path("top", &line, false);
    let end =
        plan.slots().last().and_then(|slot| part.at(slot)).map_or(start, Temperature::celsius);
    labels.add(frame.y(end), Mark::Line("top"), format!("{end:.1} °C at the end"));
}
