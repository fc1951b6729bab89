//! How often which current flowed.

use super::markup::{Figure, Table};
use super::plot::{Plot, WIDTH, dash};
use crate::present::digits::text;
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};
use crate::size::case::Detail;

/// Duration of the highest current of each half-hour, beside the fuse.
pub(super) fn figure(of: &[(&str, &Detail)], (fuse, limit): (f64, f64)) -> Figure {
    let title = "Currents against the fuse".to_owned();
    let all = of.iter().map(|(_, own)| &own.currents_amperes);
    let peak = all.clone().filter_map(|c| c.first()).copied().fold(0.0, f64::max);
    let finding = format!(
        "The highest current of any half-hour was {} A per phase; the main fuse is rated {} A{}. The line shows for how much of the time at least so much flowed at the worst instant of a half-hour. Starting currents and what the house switches within a half-hour are not in it.",
        text(peak, 1),
        text(fuse, 0),
        if limit < fuse - 0.5 {
            format!(", and {} A are agreed as the most", text(limit, 0))
        } else {
            String::new()
        }
    );
    let mut svg = Svg::figure("currents", (WIDTH, 290.0), &title, &finding);
    svg.open("aria-hidden=\"true\"");
    svg.text("panel", Anchor::Start, (0.0, 14.0), "Ampere per phase");
    let scale = Scale::around(0.0, fuse.max(peak), 5.0, (0.0, 0.08));
    let plot = Plot { left: 44.0, right: 560.0, top: 26.0, bottom: 250.0, scale };
    plot.rules(&mut svg, |value| text(value, 0));
    for share in [0.0, 0.25, 0.5, 0.75, 1.0] {
        let x = plot.across(share);
        svg.line("rule", (x, plot.top), (x, plot.bottom));
        let label = format!("{} %", text(100.0 * share, 0));
        svg.text("tick", Anchor::Middle, (x, plot.bottom + 16.0), &label);
    }
    svg.text("unit", Anchor::Middle, (302.0, plot.bottom + 34.0), "share of the time");
    svg.line("limit", (plot.left, plot.y(fuse)), (plot.right, plot.y(fuse)));
    svg.text("label", Anchor::Start, (plot.right + 8.0, plot.y(fuse) + 4.0), "main fuse");
    for (world, (name, own)) in of.iter().enumerate() {
        let currents = &own.currents_amperes;
        let last = currents.len().saturating_sub(1).max(1) as f64;
        let points: Vec<(f64, f64)> = currents
            .iter()
            .enumerate()
            .map(|(i, amperes)| (plot.across(i as f64 / last), plot.y(amperes.max(0.0))))
            .collect();
        svg.path(dash(world), &points, false);
        let y = 120.0 + 20.0 * world as f64;
        svg.line(dash(world), (plot.right + 8.0, y), (plot.right + 36.0, y));
        svg.text("label", Anchor::Start, (plot.right + 42.0, y + 4.0), name);
    }
    svg.close();
    let mut numbers = Table::new(
        "Ampere per phase that were reached for at least this share of the time",
        &["Share of the time"],
    );
    for (name, _) in of {
        numbers.head(name);
    }
    for share in [0, 1, 2, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100] {
        let cells = of.iter().map(|(_, own)| {
            let amperes = own.currents_amperes.get(share).copied();
            amperes.map_or_else(String::new, |a| text(a, 1))
        });
        numbers.row(std::iter::once(format!("{share} %")).chain(cells).collect());
    }
    Figure { title, finding, svg: svg.finish(), numbers }
}
