//! What a page says beside its figures.

use super::markup::{Table, escaped, list, paragraph, put};
use crate::present::Currency;
use crate::present::digits::text;
use crate::size::Source;
use crate::size::case::{SlotRow, TypicalDay};

/// Assumptions with their sources.
pub(super) fn assumptions(notes: &[String], terms: Option<String>) -> String {
    let mut items: Vec<String> = terms.into_iter().collect();
    items.extend(notes.iter().cloned());
    items.extend(
        [
            "Every half-hour is decided from what was known when it began: prices as published, draws and load as learnt, weather as forecast; a simulated plant of stacked layers of water says what came of it.",
            "Heat pumps, collectors, rooms, pool and buffer, where there are any: the models that `stowheat check` and `plan` name beside the house. Heat losses are as the site file states, unless measured ones stand above; in 56 homes calculated and measured losses were 35 % apart in the mean (Heat Pump Ready, 2024).",
            "Water: density and heat capacity by IAPWS-95 as in CoolProp, 1.163 Wh for each litre and kelvin. Standing loss: as the site file states, in the sense of Regulation (EU) No 812/2013 and EN 12897.",
            "Savings are differences between replays of the same days (no source needed: it is the definition), not against a house that does nothing.",
            "Present value, payback and annual cost: definitions of Fuller and Petersen, NIST Handbook 135 (1995). Replacement and value left: EN 15459-1:2017.",
            "The usual discount rate of 3.5 % a year beyond inflation: HM Treasury, The Green Book (2022).",
            "Heat at a half-hour's margin costs what the house would have paid or given up: import price while it imports, export price while it exports, replacement of charge while the battery gives (own rule; common practice, no published source).",
            "Models by the hour were found to move export and own use of the sun by 5 % and 8 % on average against data by the minute, and to show the battery up to 10 % too full (Renewable Energy and Environmental Sustainability 8, 5, 2023). This study goes by the half-hour, draws to the minute.",
        ]
        .map(str::to_owned),
    );
    list(&items)
}

/// The files that figures rest on.
pub(super) fn origin(coverage: &Table, files: &[&Source], program: &str) -> String {
    let mut out = paragraph(&format!(
        "Made by stowheat {program}. The same program and the same files give the same figures."
    ));
    out += &coverage.html();
    out += "<dl class=\"origin\">\n";
    let mut seen: Vec<&str> = Vec::new();
    for file in files {
        if seen.contains(&file.sha256.as_str()) {
            continue;
        }
        seen.push(&file.sha256);
        let line = file.attribution.as_deref().unwrap_or("no attribution line was found beside it");
        let [role, name, line, hash] =
            [file.role.as_str(), &file.file, line, &file.sha256].map(escaped);
        put(&mut out, format_args!("<dt>{role}: {name}</dt>\n<dd>{line}</dd>\n"));
        put(&mut out, format_args!("<dd class=\"hash\">SHA-256 {hash}</dd>\n"));
    }
    out + "</dl>\n"
}

/// Cautions.
pub(super) fn safety() -> String {
    list(
        &[
            "Unvented cylinders store energy under pressure, and fixed wiring can kill. Work on either is for licensed people, by the codes of the place; so are larger elements, their circuits, switches and fuses.",
            "A larger element needs a circuit, a cable and a switch rated for it, and the maximum demand of the house must be assessed before it is fitted. The currents above are computed, not measured.",
            "Every store keeps its own thermostat and its own cut-out that does not reset itself, with its relief valves. stowheat is never the safety device.",
            "Against legionella, stored water is kept at 60 °C or heated through regularly (HSE, HSG274 Part 2); follow the guidance that applies where the house stands, above all for old, ill or very young people.",
            "Water at 60 °C scalds within seconds (Moritz and Henriques, 1947). Mix it down at the tap with a thermostatic valve.",
            "A battery is fitted by qualified people, by its maker's instructions and the codes of the place; connection of PV and battery to the grid needs notice to, or leave of, the network operator.",
        ]
        .map(str::to_owned),
    )
}

/// How a customer checks a day without this program.
pub(super) fn hand(past: &str, day: &TypicalDay, table: &Table, money: &Currency) -> String {
    let sum = |of: fn(&SlotRow) -> f64| day.slots.iter().map(of).sum::<f64>();
    let paid: f64 = day.slots.iter().filter_map(SlotRow::paid).sum();
    let priced = day.slots.iter().filter(|slot| slot.paid().is_some()).count();
    let steps = [
        format!(
            "Paid = import × buy − export × sell. The column adds up to {}; the program's own sum, from figures that are not rounded, is {}. Prices are known for {priced} of {} half-hours.",
            text(paid, 2),
            text(day.bill, 2),
            day.slots.len()
        ),
        format!(
            "In each row, import + PV + battery gave = house + elements{} + battery took + export, but for the rounding.",
            if sum(|s| s.sources_kwh) > 0.0 { " + heat pumps and pumps" } else { "" }
        ),
        format!(
            "The battery cannot save more than it gives, and it gave {} kWh; house and heating took {} kWh, of which PV could serve up to {} kWh.",
            text(sum(|s| s.discharge_kwh), 2),
            text(sum(|s| s.base_load_kwh + s.heaters_kwh + s.sources_kwh), 2),
            text(sum(|s| s.pv_kwh), 2)
        ),
        format!(
            "Hot water: heat = litres × 1.163 Wh × kelvins. The elements' {} kWh would warm {} L by 40 K.",
            text(sum(|s| s.heaters_kwh), 2),
            text(sum(|s| s.heaters_kwh) / 0.001_163 / 40.0, 0)
        ),
        format!("The bill of this day is {}, without the standing charge.", money.amount(day.bill)),
    ];
    paragraph(&format!(
        "{past}, {}: {}. Take the meter's prices of that day and a pocket calculator.",
        day.date, day.kind
    )) + &list(&steps)
        + &table.html()
}
