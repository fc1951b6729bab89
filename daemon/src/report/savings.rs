//! What each option saves, and what is left of it over the years.

use super::markup::{Figure, Table};
use super::plot::{Plot, WIDTH, money_marks, with_zero};
use crate::present::Currency;
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};
use crate::size::Study;
use crate::size::study::{Row, Spread};

/// Height of a candidate's row [px].
const ROW: f64 = 26.0;
/// Where the plots begin [px].
const TOP: f64 = 46.0;
/// Width of the names [px].
const NAMES: f64 = 270.0;

/// Savings a year and net worth of the candidates, with their ranges.
pub(super) fn figure(study: &Study, money: &Currency) -> Figure {
    let rows = &study.candidates[1..];
    let years = study.terms.years;
    let title = format!("What each option saves a year, and its worth over {years} years");
    let most = rows.iter().max_by(|a, b| a.by_hardware.mean.total_cmp(&b.by_hardware.mean));
    let finding = most.map_or_else(
        || "No option was looked at.".to_owned(),
        |row| {
            let years = if study.worlds.len() < 2 {
                " in the one year that was lived through".to_owned()
            } else {
                let [low, high] = [row.by_hardware.low, row.by_hardware.high];
                format!(
                    " a year, from {} in the worst to {} in the best",
                    money.whole(low),
                    money.whole(high)
                )
            };
            format!(
                "{} saves most by hardware: {}{years}. A bar is the range over the years, a dot their mean{}; a diamond is the saving of the same hardware under the best simple control.",
                row.name,
                money.whole(row.by_hardware.mean),
                if sampling(row.by_hardware) > 0.0 {
                    ", a thin line how far sampling may have put the mean off"
                } else {
                    ""
                }
            )
        },
    );
    let height = TOP + ROW * rows.len() as f64 + 24.0;
    let mut svg = Svg::figure("savings", (WIDTH, height), &title, &finding);
    svg.open("aria-hidden=\"true\"");
    let bottom = TOP + ROW * rows.len() as f64;
    let range = |spreads: &[Spread], more: &[f64]| {
        let (low, high) = with_zero(spreads.iter().flat_map(reach).chain(more.iter().copied()));
        Scale::around(low, high, 4.0, (0.06, 0.06))
    };
    let savings: Vec<Spread> = rows.iter().map(|row| row.by_hardware).collect();
    let by_rule: Vec<f64> = rows.iter().map(|row| row.by_hardware_under_rule.mean).collect();
    let nets: Vec<Spread> = rows.iter().filter_map(|row| row.discounted_net).collect();
    let plots = [
        ("saved a year by the hardware", NAMES, 506.0, range(&savings, &by_rule)),
        ("net present value", 530.0, WIDTH - 14.0, range(&nets, &[])),
    ];
    for (index, (name, left, right, scale)) in plots.into_iter().enumerate() {
        let plot = Plot { left, right, top: TOP - 8.0, bottom, scale };
        svg.text("panel", Anchor::Start, (left, 18.0), name);
        plot.columns(&mut svg, money_marks(&plot.scale, money));
        for (place, row) in rows.iter().enumerate() {
            let y = TOP + ROW * (place as f64 + 0.5) - 6.0;
            if index == 0 {
                svg.text("tick", Anchor::End, (NAMES - 12.0, y + 4.0), &row.name);
                spread(&mut svg, &plot, y, row.by_hardware);
                diamond(&mut svg, plot.x(row.by_hardware_under_rule.mean), y);
            } else if let Some(net) = row.discounted_net {
                spread(&mut svg, &plot, y, net);
            } else {
                svg.text("unit", Anchor::Start, (left + 4.0, y + 4.0), "no price given");
            }
        }
    }
    svg.close();
    Figure { title, finding, svg: svg.finish(), numbers: numbers(study, rows, money) }
}

fn spread(svg: &mut Svg, plot: &Plot, y: f64, of: Spread) {
    svg.rect("box", (plot.x(of.low), y - 5.0), (plot.x(of.high) - plot.x(of.low)).max(1.5), 10.0);
    let error = sampling(of);
    if error > 0.0 {
        svg.line("whisker", (plot.x(of.mean - error), y), (plot.x(of.mean + error), y));
    }
    svg.circle("dot", (plot.x(of.mean), y), 4.2);
}

fn sampling(of: Spread) -> f64 {
    of.sampling_error.unwrap_or(0.0)
}

/// Everything that is drawn of a spread.
fn reach(of: &Spread) -> [f64; 4] {
    let error = sampling(*of);
    [of.low, of.high, of.mean - error, of.mean + error]
}

fn diamond(svg: &mut Svg, x: f64, y: f64) {
    svg.path("hollow", &[(x - 6.0, y), (x, y - 6.0), (x + 6.0, y), (x, y + 6.0)], true);
}

fn numbers(study: &Study, rows: &[Row], money: &Currency) -> Table {
    let worst = "net worth, worst";
    let mut table = Table::new(
        "Savings a year and net present value by option",
        &["Option", "saved, worst", "mean", "best", "by simple control", worst, "mean", "best"],
    );
    for row in rows {
        let whole = |value: f64| money.whole(value);
        let net = |of: fn(Spread) -> f64| {
            row.discounted_net.map_or_else(|| "no price".to_owned(), |net| whole(of(net)))
        };
        table.row(vec![
            row.name.clone(),
            whole(row.by_hardware.low),
            whole(row.by_hardware.mean),
            whole(row.by_hardware.high),
            whole(row.by_hardware_under_rule.mean),
            net(|n| n.low),
            net(|n| n.mean),
            net(|n| n.high),
        ]);
        if study.verdict.recommended.as_ref() == Some(&row.name) {
            table.mark();
        }
    }
    table
}
