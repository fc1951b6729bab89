//! Temperatures of a store and the draws from it.

use optimiser::time::Instant;

use super::lines::level;
use super::{Kind, Panel};
use crate::present::Plan;
use crate::present::chart::frame::{Frame, plain_number};
use crate::present::chart::labels::{Labels, Mark};
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};

/// Height of the strip that holds the draws [px].
const STRIP: f64 = 20.0;

pub(super) fn panel(plan: &Plan<'_>, index: usize) -> Panel {
    let store = &plan.problem.site.stores[index];
    let bottoms = plan.slots().iter().map(|slot| slot.stores[index].bottom.celsius());
    let tops = plan.slots().iter().map(|slot| slot.stores[index].top.celsius());
    let mut promises = plan.problem.ready.iter().filter(|promise| promise.store == index);
    let start = ends(plan, index);
    let low = bottoms.chain([start.1, store.use_temperature.celsius()]).fold(100.0, f64::min);
    let high = tops.chain([start.0, store.ceiling.celsius()]).fold(0.0, f64::max);
    Panel {
        kind: Kind::Store(index),
        title: format!("Store {}, {}", store.name, store.volume),
        unit: if promises.next().is_some() {
            "°C; ticks below: draws, dashed: promises".to_owned()
        } else {
            "°C; ticks below: draws".to_owned()
        },
        scale: Scale::around(low, high, 4.0, (0.06, 0.06)),
        height: 118.0,
        strip: STRIP,
    }
}

pub(super) fn draw(
    plan: &Plan<'_>,
    index: usize,
    svg: &mut Svg,
    frame: &Frame<'_>,
    labels: &mut Labels,
) {
    frame.grid(svg, plain_number);
    let store = &plan.problem.site.stores[index];
    let (left, right) = (frame.time.left, frame.time.right);
    for (class, name, temperature) in [
        ("ceiling", "ceiling", store.ceiling.celsius()),
        ("use", "of use from", store.use_temperature.celsius()),
    ] {
        let y = frame.y(temperature);
        svg.line(class, (left, y), (right, y));
        labels.add(y, Mark::Line(class), format!("{name} {temperature:.0} °C"));
    }
    let (top, bottom) = ends(plan, index);
    for (class, name, line) in [
        (
            "bottom",
            "bottom",
            level(plan, frame, bottom, |slot| slot.stores[index].bottom.celsius()),
        ),
        ("top", "top", level(plan, frame, top, |slot| slot.stores[index].top.celsius())),
    ] {
        svg.path(class, &line, false);
        labels.add(line.last().map_or(frame.top, |p| p.1), Mark::Line(class), name.to_owned());
    }
    let (from, until) = plan.window();
    let inside = |at: Instant| at >= from && at < until;
    let draws = plan.problem.draws.iter().filter(|d| d.store == index && inside(d.start));
    let ready = plan.problem.ready.iter().filter(|r| r.store == index && inside(r.by));
    let mut ticks: Vec<(Instant, &str, f64)> = draws
        .map(|d| (d.start, "draw", d.volume.litres()))
        .chain(ready.map(|r| (r.by, "promise", r.volume.litres())))
        .collect();
    ticks.sort_by_key(|tick| tick.0);
    let mut free = left;
    for (position, &(at, class, litres)) in ticks.iter().enumerate() {
        let x = frame.time.x(at);
        svg.line(class, (x, frame.bottom() + 4.0), (x, frame.bottom() + STRIP - 2.0));
        let cold = if class == "draw" && comes_cold(plan, index, at) { " cold" } else { "" };
        let text = format!("{litres:.0} L{cold}");
        let width = 10.0 + 6.5 * text.chars().count() as f64;
        // A promise is made before a draw, so its label stands to its left.
        let next = ticks.get(position + 1).map_or(right + 30.0, |tick| frame.time.x(tick.0));
        let y = frame.bottom() + 15.0;
        if class == "draw" && x + width <= next {
            svg.text("tick", Anchor::Start, (x + 4.0, y), &text);
            free = x + width;
        } else if class == "promise" && x - width >= free {
            svg.text("tick", Anchor::End, (x - 4.0, y), &text);
            free = x;
        } else {
            free = free.max(x);
        }
    }
}

/// Whether a store gives cold water in the slot of an instant.
fn comes_cold(plan: &Plan<'_>, index: usize, at: Instant) -> bool {
    let slot = plan.slots().iter().find(|slot| slot.slot.contains(at));
    slot.is_some_and(|slot| slot.stores[index].unmet_kwh >= 0.005)
}

/// Temperatures at the top and the bottom at the start [°C].
fn ends(plan: &Plan<'_>, index: usize) -> (f64, f64) {
    let layers = &plan.problem.state.stores[index];
    let celsius =
        |layer: Option<&optimiser::units::Temperature>| layer.map_or(0.0, |t| t.celsius());
    (celsius(layers.last()), celsius(layers.first()))
}
