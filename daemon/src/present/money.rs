//! Amounts and unit rates as people write them.

use optimiser::units::Price;

use super::digits;

/// A currency by its ISO 4217 code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Currency {
    code: String,
}

/// How a well-known currency is written.
struct Style {
    major: &'static str,
    leads: bool,
    minor: &'static str,
}

impl Currency {
    /// Takes an ISO 4217 code such as `GBP`.
    pub fn new(code: &str) -> Self {
        Self { code: code.to_owned() }
    }

    /// The ISO 4217 code.
    pub fn code(&self) -> &str {
        &self.code
    }

    /// An amount in the major unit, as `£1.23`; takes the minor unit.
    pub fn amount(&self, minor: f64) -> String {
        self.written(minor, self.decimals())
    }

    /// An amount in whole major units, as `£123`; takes the minor unit. For
    /// figures that are not known to the penny.
    pub fn whole(&self, minor: f64) -> String {
        self.written(minor, 0)
    }

    fn written(&self, minor: f64, shown: i32) -> String {
        let major = digits::rounded(minor / 10_f64.powi(self.decimals()), shown);
        let sign = if major < 0.0 { "−" } else { "" };
        let number = digits::text(major.abs(), shown);
        match self.style() {
            Some(Style { major, leads: true, .. }) => format!("{sign}{major}{number}"),
            Some(Style { major, .. }) => format!("{sign}{number} {major}"),
            None => format!("{sign}{} {number}", self.code),
        }
    }

    /// A small amount in the minor unit, as `4.1 p`; larger ones as [`Self::amount`].
    pub fn small(&self, minor: f64) -> String {
        match self.style() {
            Some(style) if minor.abs() < 99.95 => {
                format!("{} {}", digits::text(minor, 1), style.minor)
            }
            _ => self.amount(minor),
        }
    }

    /// A unit rate with its unit, as `24.1 p/kWh`.
    pub fn rate(&self, price: Price) -> String {
        format!("{} {}", self.rate_number(price), self.rate_unit())
    }

    /// The number of a unit rate in [`Self::rate_unit`].
    pub fn rate_number(&self, price: Price) -> String {
        if self.style().is_some() || self.decimals() == 0 {
            return digits::text(price.per_kwh(), 1);
        }
        let decimals = self.decimals();
        digits::text(price.per_kwh() / 10_f64.powi(decimals), decimals + 1)
    }

    /// Unit of rates: `p/kWh`, or the code per kWh where the minor unit has no
    /// sign known here.
    pub fn rate_unit(&self) -> String {
        let unit = self.style().map_or(self.code.as_str(), |style| style.minor);
        format!("{unit}/kWh")
    }

    /// Decimals of the major unit, by ISO 4217:2015, list one.
    fn decimals(&self) -> i32 {
        match self.code.as_str() {
            "JPY" | "KRW" | "ISK" | "CLP" | "VND" => 0,
            "BHD" | "IQD" | "JOD" | "KWD" | "LYD" | "OMR" | "TND" => 3,
            _ => 2,
        }
    }

    fn style(&self) -> Option<Style> {
        let (major, leads, minor) = match self.code.as_str() {
            "GBP" => ("£", true, "p"),
            "EUR" => ("€", true, "ct"),
            "AUD" | "NZD" => ("$", true, "c"),
            "DKK" | "NOK" => ("kr", false, "øre"),
            "SEK" => ("kr", false, "öre"),
            _ => return None,
        };
        Some(Style { major, leads, minor })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(code: &str, minor: f64, amount: &str, rate: &str) {
        let currency = Currency::new(code);
        assert_eq!(currency.amount(minor), amount);
        assert_eq!(currency.rate(Price::constant(minor)), rate);
    }

    #[test]
    fn known_currencies_have_signs() {
        check("GBP", 123.4, "£1.23", "123.4 p/kWh");
        check("EUR", 5.0, "€0.05", "5.0 ct/kWh");
        check("AUD", 5_000.0, "$50.00", "5000.0 c/kWh");
        check("DKK", 250.0, "2.50 kr", "250.0 øre/kWh");
    }

    #[test]
    fn others_keep_their_code_and_decimals() {
        check("CHF", 24.6, "CHF 0.25", "0.246 CHF/kWh");
        check("JPY", 31.2, "JPY 31", "31.2 JPY/kWh");
        check("KWD", 4.0, "KWD 0.004", "0.0040 KWD/kWh");
    }

    #[test]
    fn the_sign_stands_before_everything() {
        check("GBP", -123.4, "−£1.23", "−123.4 p/kWh");
        check("DKK", -250.0, "−2.50 kr", "−250.0 øre/kWh");
        check("CHF", -100.0, "−CHF 1.00", "−1.000 CHF/kWh");
        check("GBP", -0.04, "£0.00", "0.0 p/kWh");
    }

    #[test]
    fn amounts_that_are_not_known_well_are_whole() {
        assert_eq!(Currency::new("GBP").whole(-123_456.0), "−£1235");
        assert_eq!(Currency::new("JPY").whole(12.4), "JPY 12");
        assert_eq!(Currency::new("DKK").whole(49.0), "0 kr");
    }

    #[test]
    fn small_amounts_stay_small() {
        let pounds = Currency::new("GBP");
        assert_eq!(pounds.small(4.12), "4.1 p");
        assert_eq!(pounds.small(99.97), "£1.00");
        assert_eq!(Currency::new("CHF").small(4.0), "CHF 0.04");
    }
}
