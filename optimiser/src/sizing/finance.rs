//! Present values, payback and levelised cost, in any currency.
//!
//! Rates are fractions a year, and both real or both nominal. The terms are
//! those of S. Fuller and S. Petersen, *Life-Cycle Costing Manual for the
//! Federal Energy Management Program*, NIST Handbook 135 (1995): payments fall
//! at the end of each year, and a payment that grows has grown once by the end
//! of the first.

/// What a payment of 1 after so many years is worth now (SPV).
pub fn single_present_value(discount: f64, years: f64) -> f64 {
    (1.0 + discount).powf(-years)
}

/// What 1 at the end of each of so many years is worth now (UPV), where the
/// payment grows by a rate (UPV*).
pub fn uniform_present_value(discount: f64, growth: f64, years: u32) -> f64 {
    let ratio = (1.0 + growth) / (1.0 + discount);
    (1..=years).map(|year| ratio.powf(f64::from(year))).sum()
}

/// The even yearly payment that pays back 1 with interest (CRF).
pub fn capital_recovery(discount: f64, years: f64) -> f64 {
    if discount.abs() < 1e-12 {
        return 1.0 / years;
    }
    discount / (1.0 - single_present_value(discount, years))
}

/// Years of savings that add up to an investment; `None` if nothing is saved.
pub fn simple_payback(investment: f64, saving: f64) -> Option<f64> {
    (saving > 0.0).then(|| (investment / saving).max(0.0))
}

/// Years of discounted savings that add up to an investment; `None` if they
/// never do.
pub fn discounted_payback(investment: f64, saving: f64, discount: f64) -> Option<f64> {
    if discount.abs() < 1e-12 {
        return simple_payback(investment, saving);
    }
    let left = 1.0 - investment * discount / saving;
    (saving > 0.0 && left > 0.0).then(|| -left.ln() / (1.0 + discount).ln())
}

/// Net present value of an even yearly saving.
pub fn net_present_value(investment: f64, saving: f64, discount: f64, years: u32) -> f64 {
    saving * uniform_present_value(discount, 0.0, years) - investment
}

/// Present value of the savings for each unit invested (SIR).
pub fn savings_to_investment(investment: f64, saving: f64, discount: f64, years: u32) -> f64 {
    saving * uniform_present_value(discount, 0.0, years) / investment
}

/// The discount rate at which an even saving just pays back an investment (IRR);
/// `None` if the savings do not even add up to it.
pub fn internal_rate(investment: f64, saving: f64, years: u32) -> Option<f64> {
    let surplus = |rate| net_present_value(investment, saving, rate, years);
    if investment <= 0.0 || surplus(0.0) < 0.0 {
        return None;
    }
    let (mut low, mut high) = (0.0, 1.0);
    while surplus(high) > 0.0 {
        high *= 2.0;
    }
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if surplus(middle) > 0.0 { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}

/// The yearly yield of an investment whose savings earn the discount rate (AIRR).
pub fn adjusted_internal_rate(investment: f64, saving: f64, discount: f64, years: u32) -> f64 {
    let ratio = savings_to_investment(investment, saving, discount, years);
    (1.0 + discount) * ratio.powf(1.0 / f64::from(years)) - 1.0
}

/// Cost of a kWh over the life of the plant: what it costs in a year, evened
/// out, over what it gives in a year, and the energy each kWh takes.
pub fn levelised_cost(yearly_capital: f64, upkeep: f64, energy_cost: f64, kwh: f64) -> f64 {
    (yearly_capital + upkeep + energy_cost) / kwh
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(actual: f64, expected: f64, tolerance: f64) {
        assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
    }

    // FI-01, recomputed from the closed form; 14.88 for 20 years stands in the
    // tables of NIST Handbook 135.
    #[test]
    fn uniform_present_values_are_those_of_the_tables() {
        for (years, expected) in [(10, 8.530), (20, 14.877), (25, 17.413)] {
            near(uniform_present_value(0.03, 0.0, years), expected, 0.001);
        }
        near(uniform_present_value(0.03, 0.0, 20), 14.88, 0.005);
        near(uniform_present_value(0.0, 0.0, 20), 20.0, 1e-12);
    }

    // FI-02, closed form.
    #[test]
    fn a_single_payment_is_worth_less_later() {
        near(single_present_value(0.03, 20.0), 0.5537, 1e-4);
    }

    // FI-03 and FI-04: a published engineering exercise on the levelised cost of
    // a wind plant, by the simple formula that NREL documents ("Simple Levelized
    // Cost of Energy Calculator"): 1,500 a kW, 22 % capacity factor, 8 %, 10
    // years, 0.04 a kWh of upkeep. It prints 0.14903 and, cut off, 0.1559.
    #[test]
    fn a_published_exercise_comes_out_as_printed() {
        let recovery = capital_recovery(0.08, 10.0);
        near(recovery, 0.14903, 1e-5);
        let kwh = 8_760.0 * 0.22;
        let cost = levelised_cost(1_500.0 * recovery, 0.04 * kwh, 0.0, kwh);
        near(cost, 0.15599, 1e-4);
        near((cost * 1e4).floor() / 1e4, 0.1559, 1e-9);
    }

    // FI-05, recomputed with the definitions of NIST Handbook 135.
    #[test]
    fn an_element_upgrade_pays_back() {
        let (investment, saving, rate, years) = (1_200.0, 260.0, 0.035, 15);
        let percent = |actual: f64, expected: f64| near(actual, expected, 0.001 * expected);
        percent(simple_payback(investment, saving).expect("it pays"), 4.615);
        percent(discounted_payback(investment, saving, rate).expect("it pays"), 5.121);
        percent(net_present_value(investment, saving, rate, years), 1_794.53);
        percent(savings_to_investment(investment, saving, rate, years), 2.495);
        percent(internal_rate(investment, saving, years).expect("a rate"), 0.2031);
        percent(adjusted_internal_rate(investment, saving, rate, years), 0.1001);
    }

    // FI-06, recomputed.
    #[test]
    fn heat_has_a_levelised_cost() {
        let yearly = 1_200.0 * capital_recovery(0.035, 15.0);
        near(levelised_cost(yearly, 20.0, 0.09 * 2_800.0, 2_800.0), 0.1344, 1e-4);
    }

    // FI-07, recomputed.
    #[test]
    fn growing_savings_are_worth_more() {
        near(uniform_present_value(0.035, 0.02, 15), 13.373, 0.001);
    }

    #[test]
    fn what_saves_nothing_never_pays_back() {
        assert_eq!(simple_payback(100.0, 0.0), None);
        assert_eq!(discounted_payback(100.0, 3.0, 0.035), None);
        assert_eq!(internal_rate(100.0, 1.0, 10), None);
    }
}
