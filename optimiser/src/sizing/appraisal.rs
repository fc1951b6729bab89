//! Whether an outlay is worth it over the years of a study.
//!
//! What wears out within the study is bought again at the same price, and what
//! still has life at its end counts for the share that is left, both as in
//! EN 15459-1:2017. All in one currency, at today's prices.

use super::finance::{
    capital_recovery, levelised_cost, simple_payback, single_present_value, uniform_present_value,
};

/// Something to buy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlay {
    /// Equipment, without tax.
    pub equipment: f64,
    /// Fitting, without tax.
    pub fitting: f64,
    /// Value-added tax on both, 0.2 for 20 %.
    pub vat: f64,
    /// How long it lasts [years].
    pub life_years: f64,
    /// What keeping it in order costs in a year.
    pub upkeep_per_year: f64,
}

/// Over how many years, and at which rates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Terms {
    /// Discount rate, a fraction a year.
    pub discount: f64,
    /// Growth of energy prices beyond that of other prices, a fraction a year.
    pub price_growth: f64,
    /// Years that count.
    pub years: u32,
}

/// What an outlay comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Appraisal {
    /// Paid at the start.
    pub price: f64,
    /// Upkeep in a year.
    pub upkeep: f64,
    /// Saving less upkeep over price; `None` if nothing is left of the saving.
    pub payback_years: Option<f64>,
    /// Everything added up at today's energy prices and without discount:
    /// savings less upkeep, purchases and what is left of them.
    pub flat_net: f64,
    /// The same with growth and discount: the net present value.
    pub discounted_net: f64,
    /// Purchases and what is left of them as an even yearly payment.
    pub yearly_capital: f64,
}

impl Outlay {
    /// Equipment and fitting with tax.
    pub fn price(&self) -> f64 {
        (self.equipment + self.fitting) * (1.0 + self.vat)
    }

    /// Present value of buying it whenever it is worn out, less what is left.
    fn present_value(&self, terms: Terms) -> f64 {
        let years = f64::from(terms.years);
        let worth = |year: f64| single_present_value(terms.discount, year);
        let purchases = (0..).map(|n| f64::from(n) * self.life_years);
        let purchases: Vec<f64> = purchases.take_while(|at| *at < years - 1e-9).collect();
        let last = purchases.last().copied().unwrap_or(0.0);
        let left = 1.0 - (years - last) / self.life_years;
        let paid: f64 = purchases.iter().map(|at| worth(*at)).sum();
        self.price() * (paid - left.max(0.0) * worth(years))
    }
}

impl Appraisal {
    /// Levelised cost of a kWh of heat, with the energy for a year's heat.
    pub fn cost_of_heat(&self, energy_cost: f64, kwh: f64) -> Option<f64> {
        (kwh > 0.0).then(|| levelised_cost(self.yearly_capital, self.upkeep, energy_cost, kwh))
    }
}

/// Appraises what is bought together, for a saving in a year.
pub fn appraise(outlays: &[Outlay], saving: f64, terms: Terms) -> Appraisal {
    let price: f64 = outlays.iter().map(Outlay::price).sum();
    let upkeep: f64 = outlays.iter().map(|o| o.upkeep_per_year).sum();
    let flat = Terms { discount: 0.0, price_growth: 0.0, ..terms };
    let capital = |terms| outlays.iter().map(|o| o.present_value(terms)).sum::<f64>();
    let net = |terms: Terms| {
        saving * uniform_present_value(terms.discount, terms.price_growth, terms.years)
            - upkeep * uniform_present_value(terms.discount, 0.0, terms.years)
            - capital(terms)
    };
    Appraisal {
        price,
        upkeep,
        payback_years: simple_payback(price, saving - upkeep),
        flat_net: net(flat),
        discounted_net: net(terms),
        yearly_capital: capital(terms) * capital_recovery(terms.discount, f64::from(terms.years)),
    }
}

#[cfg(test)]
mod tests {
    use super::super::finance::net_present_value;
    use super::*;

    fn near(actual: f64, expected: f64) {
        assert!((actual - expected).abs() <= 1e-6 * expected.abs().max(1.0), "{actual}");
    }

    const TERMS: Terms = Terms { discount: 0.035, price_growth: 0.0, years: 15 };
    const UPGRADE: Outlay = Outlay {
        equipment: 600.0,
        fitting: 400.0,
        vat: 0.2,
        life_years: 15.0,
        upkeep_per_year: 0.0,
    };

    // FI-05 again: an outlay that lasts just as long as the study.
    #[test]
    fn a_life_as_long_as_the_study_is_the_textbook_case() {
        let found = appraise(&[UPGRADE], 260.0, TERMS);
        near(found.price, 1_200.0);
        near(found.discounted_net, net_present_value(1_200.0, 260.0, 0.035, 15));
        near(found.flat_net, 15.0 * 260.0 - 1_200.0);
        near(found.yearly_capital, 1_200.0 * capital_recovery(0.035, 15.0));
    }

    // Solved on paper: 10 years of life in a study of 15 are two purchases, the
    // second with half its life left.
    #[test]
    fn what_wears_out_is_bought_again() {
        let short = Outlay { life_years: 10.0, upkeep_per_year: 12.0, ..UPGRADE };
        let found = appraise(&[short], 260.0, TERMS);
        near(found.flat_net, 15.0 * (260.0 - 12.0) - 2.0 * 1_200.0 + 600.0);
        let again = 1_200.0 * (1.035_f64.powi(-10) - 0.5 * 1.035_f64.powi(-15));
        near(found.discounted_net, net_present_value(1_200.0, 248.0, 0.035, 15) - again);
        near(found.payback_years.expect("it pays"), 1_200.0 / 248.0);
    }

    #[test]
    fn upkeep_above_the_saving_never_pays() {
        let found = appraise(&[Outlay { upkeep_per_year: 300.0, ..UPGRADE }], 260.0, TERMS);
        assert_eq!(found.payback_years, None);
        assert!(found.discounted_net < -1_200.0);
    }

    #[test]
    fn nothing_bought_is_nothing_spent() {
        let found = appraise(&[], 100.0, TERMS);
        near(found.price, 0.0);
        near(found.flat_net, 1_500.0);
        assert_eq!(found.payback_years, Some(0.0));
    }
}
