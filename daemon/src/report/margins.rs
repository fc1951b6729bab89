//! What a little more of everything is worth.

use super::markup::{Figure, Table};
use super::plot::{Plot, WIDTH, area, hatch, legend, money_marks, with_zero};
use crate::present::Currency;
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};
use crate::size::Study;

/// Height of a bar with its gap [px].
const BAR: f64 = 15.0;
/// Least height of a capacity with its name and size [px].
const NAMED: f64 = 36.0;
/// Width of the names [px].
const NAMES: f64 = 190.0;

/// Marginal values by capacity and world.
pub(super) fn figure(study: &Study, money: &Currency) -> Figure {
    let values = study.marginal_values();
    let title = "What a little more would save a year".to_owned();
    let all = values.iter().flat_map(|of| of.iter().filter_map(|v| v.map(|v| (v.up, v))));
    let most = all.clone().max_by(|a, b| a.0.total_cmp(&b.0));
    let finding = most.map_or_else(
        || "There are no marginal values.".to_owned(),
        |(up, value)| {
            format!(
                "The most valuable next step is one more {} of {}, worth up to {} a year to somebody who knew every price and draw beforehand. A bar is the value of a unit more, a short line the value of the last unit there is. These hold near the present sizes only and are no saving of a whole option; a larger store is counted with the loss that it has now. An element that switches can be worth less than nothing where it is larger: while on it draws more from the grid, and while off more sun is sold.",
                value.unit,
                value.capacity,
                money.amount(up)
            )
        },
    );
    let group = (BAR * study.worlds.len() as f64 + 12.0).max(NAMED);
    let legend_names: Vec<(String, String)> =
        study.worlds.iter().enumerate().map(|(w, lived)| (hatch(w), lived.name.clone())).collect();
    let top = 18.0 + 18.0 * (legend_names.len() as f64 / 2.0).ceil();
    let bottom = top + group * values.len() as f64;
    let mut svg = Svg::figure("margins", (WIDTH, bottom + 24.0), &title, &finding);
    svg.open("aria-hidden=\"true\"");
    legend(&mut svg, &legend_names, (0.0, 2.0));
    let (low, high) =
        with_zero(values.iter().flatten().filter_map(|v| v.map(|v| [v.up, v.down])).flatten());
    let scale = Scale::around(low, high, 5.0, (0.02, 0.2));
    let plot = Plot { left: NAMES, right: WIDTH - 10.0, top, bottom, scale };
    plot.columns(&mut svg, money_marks(&plot.scale, money));
    for (row, of) in values.iter().enumerate() {
        let Some(first) = of.iter().flatten().next() else { continue };
        let y = top + group * row as f64 + 6.0;
        let name = format!("{}, per {}", first.capacity, first.unit);
        let middle = y + BAR * study.worlds.len() as f64 / 2.0;
        svg.text("label", Anchor::End, (NAMES - 8.0, middle), &name);
        svg.text("unit", Anchor::End, (NAMES - 8.0, middle + 13.0), &format!("now {}", first.size));
        for (world, value) in of.iter().enumerate() {
            let y = y + BAR * world as f64;
            let Some(value) = value else {
                svg.text("unit", Anchor::Start, (plot.x(0.0) + 4.0, y + 10.0), "not found");
                continue;
            };
            let (up, down) = (value.up, value.down);
            let (from, to) = (plot.x(up.min(0.0)), plot.x(up.max(0.0)));
            area(&mut svg, &hatch(world), (from, y + 1.0), (to - from).max(0.8), BAR - 4.0);
            let x = plot.x(down);
            svg.line("whisker", (x, y - 1.0), (x, y + BAR - 2.0));
            let label = plot.x(up.max(down).max(0.0)) + 5.0;
            let told = [up, down].map(|value| money.amount(value));
            let told = match told {
                [up, down] if up == down => up,
                [up, down] => format!("{up}, the last {down}"),
            };
            svg.text("tick", Anchor::Start, (label, y + 10.0), &told);
        }
    }
    svg.close();
    let mut numbers = Table::new(
        "Value a year of a unit more, and of the last unit there is",
        &["Capacity", "a unit", "now"],
    );
    for world in &study.worlds {
        numbers.head(&world.name);
    }
    for of in &values {
        let Some(first) = of.iter().flatten().next() else { continue };
        let cells = of.iter().map(|value| {
            value.map_or_else(
                || "none".to_owned(),
                |v| {
                    let [up, down] = [v.up, v.down].map(|x| money.amount(x));
                    format!("{up} more, {down} last")
                },
            )
        });
        let heads = [first.capacity.clone(), first.unit.clone(), first.size.clone()];
        numbers.row(heads.into_iter().chain(cells).collect());
    }
    Figure { title, finding, svg: svg.finish(), numbers }
}
