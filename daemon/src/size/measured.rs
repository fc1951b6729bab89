//! What a study says with the numbers that were calculated, beside what it says with
//! those that were measured.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::study::{Row, Spread, Study};
use crate::present::Currency;

/// The study as it would be with the calculated numbers of the site file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AsCalculated {
    /// Numbers that were measured.
    pub numbers: Vec<Measured>,
    /// The candidate that would be recommended.
    pub recommended: Option<String>,
    /// Each candidate, in the order of the study.
    pub candidates: Vec<Beside>,
}

/// A number that was calculated and measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states what it is")]
pub struct Measured {
    pub key: String,
    pub calculated: f64,
    pub measured: f64,
}

/// A candidate with the calculated numbers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Beside {
    /// Part of the saving that the hardware makes.
    pub by_hardware: Spread,
    /// Net present value.
    pub discounted_net: Option<Spread>,
    /// Heat in a year, mean of the years [kWh].
    pub heat_kwh: f64,
    /// Most import on one day of any year [kWh].
    pub peak_day_import_kwh: f64,
}

impl Measured {
    /// By how much the calculation is above what was measured, 0.35 for 35 %.
    pub fn off(&self) -> f64 {
        self.calculated / self.measured - 1.0
    }
}

impl Beside {
    pub(crate) fn of(row: &Row) -> Self {
        let details = || row.worlds.iter().map(|own| &own.detail);
        Self {
            by_hardware: row.by_hardware,
            discounted_net: row.discounted_net,
            heat_kwh: details().map(|own| own.heat_kwh).sum::<f64>() / row.worlds.len() as f64,
            peak_day_import_kwh: details().map(|own| own.peak_day_import_kwh).fold(0.0, f64::max),
        }
    }
}

impl Study {
    /// Puts beside the study, which rests on measured numbers, what another says that
    /// rests on the calculated ones.
    pub fn beside(&mut self, calculated: &Self, numbers: Vec<Measured>) {
        let recommended = calculated.verdict.recommended.clone();
        let told = |name: &Option<String>| {
            name.clone().unwrap_or_else(|| "to leave the hardware as it is".to_owned())
        };
        let (own, other) = (&self.verdict.recommended, &recommended);
        let money = Currency::new(&self.currency);
        let candidates: Vec<Beside> = calculated.candidates.iter().map(Beside::of).collect();
        let best = own.as_ref().and_then(|name| {
            let index = self.candidates.iter().position(|row| row.name == *name)?;
            Some(format!(
                ", and {name} would be said to save {} instead of {} a year",
                money.whole(candidates[index].by_hardware.mean),
                money.whole(self.candidates[index].by_hardware.mean)
            ))
        });
        let same = if own == other {
            "the advice would be the same".to_owned()
        } else {
            format!("the advice would be {}", told(other))
        };
        self.verdict.sentences.push(format!(
            "MEASURED: {}. With the calculated numbers {same}{}.",
            numbers
                .iter()
                .map(|n| format!(
                    "{} is {} as measured, {} as calculated",
                    n.key, n.measured, n.calculated
                ))
                .collect::<Vec<_>>()
                .join("; "),
            best.unwrap_or_default()
        ));
        self.as_calculated = Some(AsCalculated { numbers, recommended, candidates });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // C49 (Heat Pump Ready, 2024): 10 kW as calculated, 35 % too many, are 7.4 kW.
    #[test]
    fn a_calculation_is_off_against_what_was_measured() {
        let loss = Measured { key: String::new(), calculated: 10.0, measured: 7.4 };
        assert!((loss.off() - 0.35).abs() < 0.002, "{}", loss.off());
        assert!((10.0_f64 / 1.35 - 7.4).abs() < 0.01);
    }
}
