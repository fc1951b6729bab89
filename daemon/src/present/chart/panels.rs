//! The plots, from prices at the top to stores at the bottom.

use optimiser::schedule::SlotPlan;
use optimiser::site::Source;
use optimiser::time::Instant;

use super::frame::{Frame, plain_number};
use super::labels::{Labels, Mark};
use super::{Anchor, Svg};
use crate::present::Plan;
use crate::present::scale::Scale;
use crate::present::totals::Sources;
use lines::{level, shape, steps};

mod lines;
mod prices;
mod room;
mod stores;

/// Room of a panel's title above its plot [px].
pub(super) const TITLE: f64 = 24.0;
/// Room below a plot [px].
const GAP: f64 = 16.0;

/// Classes of what is fed by PV, battery and grid.
const SOURCES: [&str; 3] = ["fill-sun", "fill-battery", "fill-grid"];

/// Picks a part of an energy [kWh].
type Part = fn(&Sources) -> f64;

/// One plot.
pub(super) struct Panel {
    kind: Kind,
    title: String,
    unit: String,
    scale: Scale,
    /// Height of the plot [px].
    pub(super) height: f64,
    /// Height of a strip below the plot [px].
    strip: f64,
}

enum Kind {
    Prices,
    Heater(usize),
    Source(Source),
    Warmth(room::Part),
    Power,
    Battery,
    Store(usize),
}

impl Panel {
    /// Height of the panel with title, strip and gap [px].
    pub(super) fn room(&self) -> f64 {
        TITLE + self.height + self.strip + GAP
    }

    pub(super) fn scale(&self) -> Scale {
        self.scale.clone()
    }

    pub(super) fn draw(&self, plan: &Plan<'_>, svg: &mut Svg, frame: &Frame<'_>) {
        let place = (frame.time.left, frame.top - 9.0);
        svg.text("panel", Anchor::Start, place, &self.title);
        svg.text("unit", Anchor::End, (frame.time.right, place.1), &self.unit);
        let mut labels = Labels::default();
        match self.kind {
            Kind::Prices => prices::draw(plan, svg, frame, &mut labels),
            Kind::Heater(number) => heater(plan, number, svg, frame, &mut labels),
            Kind::Source(source) => room::source(plan, source, svg, frame, &mut labels),
            Kind::Warmth(part) => room::warmth(plan, part, svg, frame, &mut labels),
            Kind::Power => power(plan, svg, frame, &mut labels),
            Kind::Battery => battery(plan, svg, frame, &mut labels),
            Kind::Store(index) => stores::draw(plan, index, svg, frame, &mut labels),
        }
        labels.write(svg, frame.time.right, (frame.top, frame.bottom()));
    }
}

/// The panels that a plan has something to show in.
pub(super) fn of(plan: &Plan<'_>) -> Vec<Panel> {
    let site = &plan.problem.site;
    let mut panels = vec![prices::panel(plan)];
    for (number, id) in plan.problem.heaters().enumerate() {
        let element = plan.element(id);
        panels.push(Panel {
            kind: Kind::Heater(number),
            title: format!("Heater {}, {}", plan.full_name(id), element.power),
            unit: "kW, mean of each slot".to_owned(),
            scale: Scale::around(0.0, element.power.kw(), 3.0, (0.0, 0.04)),
            height: 58.0,
            strip: 0.0,
        });
    }
    panels.extend(room::sources(plan));
    let most = mean_powers(plan, |slot| slot.pv.kwh() + slot.curtailed.kwh())
        .chain(mean_powers(plan, |slot| slot.base_load.kwh()))
        .map(|(_, kw)| kw)
        .fold(0.5, f64::max);
    panels.push(Panel {
        kind: Kind::Power,
        title: if plan.has_pv() { "Sun and house" } else { "House" }.to_owned(),
        unit: "kW, mean of each slot".to_owned(),
        scale: Scale::around(0.0, most, 3.0, (0.0, 0.06)),
        height: 84.0,
        strip: 0.0,
    });
    if let Some(battery) = &site.battery {
        panels.push(Panel {
            kind: Kind::Battery,
            title: format!("Battery, {}", battery.capacity),
            unit: "kWh held".to_owned(),
            scale: Scale::around(0.0, battery.capacity.kwh(), 3.0, (0.0, 0.04)),
            height: 66.0,
            strip: 0.0,
        });
    }
    panels.extend((0..site.stores.len()).map(|index| stores::panel(plan, index)));
    panels.extend(room::parts(plan));
    panels
}

/// Each slot with a mean power in it [kW].
fn mean_powers<'a>(
    plan: &'a Plan<'_>,
    energy: impl Fn(&SlotPlan) -> f64 + 'a,
) -> impl Iterator<Item = (&'a SlotPlan, f64)> {
    plan.slots().iter().map(move |slot| (slot, energy(slot) / slot.slot.hours()))
}

fn heater(plan: &Plan<'_>, number: usize, svg: &mut Svg, frame: &Frame<'_>, labels: &mut Labels) {
    let of = |slot: &SlotPlan| Sources::of([&slot.heaters[number]]);
    fed(plan, of, svg, frame, labels);
}

/// Energy of each slot in layers by where it came from, with its sums.
fn fed(
    plan: &Plan<'_>,
    of: impl Fn(&SlotPlan) -> Sources,
    svg: &mut Svg,
    frame: &Frame<'_>,
    labels: &mut Labels,
) {
    frame.grid(svg, plain_number);
    let parts: [Part; 3] = [|s| s.pv, |s| s.battery, |s| s.grid];
    let mut below = vec![0.0; plan.slots().len()];
    for (class, part) in SOURCES.into_iter().zip(parts) {
        let heights: Vec<(&SlotPlan, f64)> = mean_powers(plan, |slot| part(&of(slot))).collect();
        let bars: Vec<(Instant, Instant, f64, f64)> = heights
            .iter()
            .zip(&below)
            .map(|((slot, kw), base)| (slot.slot.start(), slot.slot.end(), *base, base + kw))
            .collect();
        for run in bars.chunk_by(|a, b| (a.3 - a.2 > 0.005) == (b.3 - b.2 > 0.005)) {
            if run[0].3 - run[0].2 > 0.005 {
                svg.path(class, &shape(frame, run), true);
            }
        }
        below.iter_mut().zip(&heights).for_each(|(base, (_, kw))| *base += kw);
    }
    let total = plan.slots().iter().map(&of).fold(Sources::default(), Sources::and);
    let named = total.named().into_iter().zip(SOURCES);
    let shown: Vec<_> = named.filter(|((_, kwh), _)| *kwh >= 0.005).collect();
    for (row, ((name, kwh), class)) in shown.iter().rev().enumerate() {
        let y = frame.top + 8.0 + 17.0 * row as f64;
        labels.add(y, Mark::Area(class), format!("{name} {kwh:.1} kWh"));
    }
    if shown.is_empty() {
        let place = (frame.time.right + 12.0, frame.top + 0.5 * frame.height + 4.0);
        svg.text("label", Anchor::Start, place, "off throughout");
    }
}

fn power(plan: &Plan<'_>, svg: &mut Svg, frame: &Frame<'_>, labels: &mut Labels) {
    frame.grid(svg, plain_number);
    if plan.has_pv() {
        let sun = steps(frame, mean_powers(plan, |slot| slot.pv.kwh() + slot.curtailed.kwh()));
        lines::filled(svg, "soft-sun", &sun, frame.y(0.0));
        svg.path("sun", &sun, false);
        labels.add(frame.top + 20.0, Mark::Line("sun"), "PV forecast".to_owned());
    }
    let house = steps(frame, mean_powers(plan, |slot| slot.base_load.kwh()));
    svg.path("house", &house, false);
    labels.add(house.last().map_or(frame.top, |p| p.1), Mark::Line("house"), "house".to_owned());
}

fn battery(plan: &Plan<'_>, svg: &mut Svg, frame: &Frame<'_>, labels: &mut Labels) {
    frame.grid(svg, plain_number);
    let line = level(plan, frame, plan.problem.state.battery.kwh(), |slot| slot.battery.kwh());
    lines::filled(svg, "soft-level", &line, frame.y(0.0));
    svg.path("level", &line, false);
    let end = plan.slots().last().map_or(0.0, |slot| slot.battery.kwh());
    labels.add(frame.y(end), Mark::Line("level"), format!("{end:.1} kWh at the end"));
}
