//! Lines and shapes over time.

use optimiser::schedule::SlotPlan;
use optimiser::time::Instant;

use crate::present::Plan;
use crate::present::chart::frame::Frame;
use crate::present::svg::Svg;

/// A line that keeps a value through each slot.
pub(super) fn steps<'a>(
    frame: &Frame<'_>,
    values: impl Iterator<Item = (&'a SlotPlan, f64)>,
) -> Vec<(f64, f64)> {
    values
        .flat_map(|(slot, value)| {
            [frame.point(slot.slot.start(), value), frame.point(slot.slot.end(), value)]
        })
        .collect()
}

/// A line from a value at the start through the values at the ends of slots.
pub(super) fn level(
    plan: &Plan<'_>,
    frame: &Frame<'_>,
    start: f64,
    value: impl Fn(&SlotPlan) -> f64,
) -> Vec<(f64, f64)> {
    let (from, _) = plan.window();
    std::iter::once(frame.point(from, start))
        .chain(plan.slots().iter().map(|slot| frame.point(slot.slot.end(), value(slot))))
        .collect()
}

/// The outline of bars that touch: start, end, lower and upper value of each.
pub(super) fn shape(frame: &Frame<'_>, bars: &[(Instant, Instant, f64, f64)]) -> Vec<(f64, f64)> {
    let upper = bars.iter().flat_map(|b| [frame.point(b.0, b.3), frame.point(b.1, b.3)]);
    let lower = bars.iter().rev().flat_map(|b| [frame.point(b.1, b.2), frame.point(b.0, b.2)]);
    upper.chain(lower).collect()
}

/// The area between a line and a height.
pub(super) fn filled(svg: &mut Svg, class: &str, line: &[(f64, f64)], y: f64) {
    if let (Some(first), Some(last)) = (line.first(), line.last()) {
        let mut points = line.to_vec();
        points.extend([(last.0, y), (first.0, y)]);
        svg.path(class, &points, true);
    }
}
