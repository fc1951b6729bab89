//! Unit rates of import and export.

use optimiser::schedule::SlotPlan;
use optimiser::units::Price;

use super::lines::{filled, steps};
use super::{Kind, Panel};
use crate::present::chart::frame::{Frame, plain_number};
use crate::present::chart::labels::{Labels, Mark};
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};
use crate::present::{Plan, local};

pub(super) fn panel(plan: &Plan<'_>) -> Panel {
    let prices = plan.slots().iter().flat_map(|slot| [slot.import_price, slot.export_price]);
    let (low, high) = prices
        .map(Price::per_kwh)
        .fold((0.0_f64, 1.0_f64), |(low, high), price| (low.min(price), high.max(price)));
    let unit = plan.currency().rate_unit();
    Panel {
        kind: Kind::Prices,
        title: "Price of electricity".to_owned(),
        unit,
        scale: Scale::around(low, high, 4.0, (if low < 0.0 { 0.16 } else { 0.0 }, 0.16)),
        height: 150.0,
        strip: 0.0,
    }
}

pub(super) fn draw(plan: &Plan<'_>, svg: &mut Svg, frame: &Frame<'_>, labels: &mut Labels) {
    if let Some(first) = plan.slots().iter().find(|slot| plan.is_forecast(slot.slot)) {
        let x = frame.time.x(first.slot.start());
        svg.rect("shade", (x, frame.top), frame.time.right - x, frame.height);
    }
    let money = plan.currency();
    frame.grid(svg, |mark| {
        // Marks are in the minor unit; currencies without a sign for it are
        // written in the major unit.
        if money.rate_unit().starts_with(money.code()) {
            money.rate_number(Price::clamped(mark))
        } else {
            plain_number(mark)
        }
    });
    let import = steps(frame, plan.slots().iter().map(|s| (s, s.import_price.per_kwh())));
    let export = steps(frame, plan.slots().iter().map(|s| (s, s.export_price.per_kwh())));
    filled(svg, "soft-import", &import, frame.y(0.0));
    if plan.exports() {
        svg.path("export", &export, false);
        let y = export.last().map_or(frame.top, |p| p.1);
        labels.add(y, Mark::Line("export"), "export".to_owned());
    }
    svg.path("import", &import, false);
    labels.add(import.last().map_or(frame.top, |p| p.1), Mark::Line("import"), "import".to_owned());
    extremes(plan, svg, frame);
    if let Some(first) = plan.slots().iter().find(|slot| plan.is_forecast(slot.slot)) {
        let x = frame.time.x(first.slot.start());
        if frame.time.right - x > 70.0 {
            svg.text("tick halo", Anchor::Start, (x + 6.0, frame.top + 14.0), "forecast");
        }
    }
}

/// The highest and the lowest import price, written beside the line.
fn extremes(plan: &Plan<'_>, svg: &mut Svg, frame: &Frame<'_>) {
    let by_price = |a: &&SlotPlan, b: &&SlotPlan| {
        a.import_price.per_kwh().total_cmp(&b.import_price.per_kwh())
    };
    let dearest = plan.slots().iter().rev().max_by(by_price).map(|slot| (slot, -7.0));
    let cheapest = plan.slots().iter().min_by(by_price).map(|slot| (slot, 16.0));
    for (slot, distance) in dearest.into_iter().chain(cheapest) {
        let (x, y) = frame.point(slot.slot.start(), slot.import_price.per_kwh());
        let text = format!(
            "{} at {}",
            plan.currency().rate_number(slot.import_price),
            local::clear_clock(plan.zone(), slot.slot.start())
        );
        let anchor = if x > frame.time.right - 110.0 { Anchor::End } else { Anchor::Start };
        // A price near zero has no room below its line.
        let y = if y + distance > frame.bottom() - 2.0 { y - 7.0 } else { y + distance };
        svg.text("label halo", anchor, (x, y), &text);
    }
}
