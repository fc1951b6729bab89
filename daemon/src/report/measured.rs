//! What was calculated beside what was measured, and what that does to the answer.

use super::markup::{Table, paragraph};
use crate::present::Currency;
use crate::present::digits::text;
use crate::size::study::Spread;
use crate::size::{AsCalculated, Beside, Study};

/// Numbers, and each option under both.
pub(super) fn section(study: &Study, other: &AsCalculated, money: &Currency) -> String {
    let mut numbers = Table::new(
        "Numbers of the house that were calculated and measured",
        &["Number", "calculated", "measured", "calculation off by"],
    );
    for number in &other.numbers {
        numbers.row(vec![
            number.key.clone(),
            number.calculated.to_string(),
            number.measured.to_string(),
            format!("{} %", text(100.0 * number.off(), 0)),
        ]);
    }
    let mut options = Table::new(
        "Each option with the measured and with the calculated numbers, a year at a time",
        &[
            "Option",
            "by hardware, measured",
            "calculated",
            "net worth, measured",
            "calculated",
            "heat, measured",
            "calculated",
            "hardest day, measured",
            "calculated",
        ],
    );
    for (row, calculated) in study.candidates.iter().zip(&other.candidates) {
        let measured = Beside::of(row);
        let net = |net: Option<Spread>| {
            net.map_or_else(|| "no price".to_owned(), |net| money.whole(net.mean))
        };
        let kwh = |kwh: f64| format!("{} kWh", text(kwh, 0));
        options.row(vec![
            row.name.clone(),
            money.whole(measured.by_hardware.mean),
            money.whole(calculated.by_hardware.mean),
            net(measured.discounted_net),
            net(calculated.discounted_net),
            kwh(measured.heat_kwh),
            kwh(calculated.heat_kwh),
            kwh(measured.peak_day_import_kwh),
            kwh(calculated.peak_day_import_kwh),
        ]);
        if study.verdict.recommended.as_ref() == Some(&row.name) {
            options.mark();
        }
    }
    paragraph(
        "Everything else on this page rests on the measured numbers. Heat losses are often calculated too high: in 56 homes of the United Kingdom calculation and measurement were 35 % apart in the mean, 59 % of the calculations were too high, 13 % too low, and 30 % agreed (Heat Pump Ready, 2024). The hardest day is the most that the house imported on any day.",
    ) + &numbers.html()
        + &options.html()
}
