//! The file of options of a study: what could be bought, at what price.

use optimiser::sizing::{Outlay, Terms};

use super::fault::{Faults, Report, Severity};
use super::shape::Kind::{Table, Tables, Text, Whole};
use super::shape::{Key, Shape, assumed, number, optional, required};
use super::tree::{self, Node};

static FILE: Shape = Shape {
    about: "What could be bought for a house. Money is in whole units of the currency.",
    keys: &[
        required("currency", Text("GBP"), "ISO 4217 code; the site's own."),
        assumed("terms", Table(&TERMS), "Years and rates."),
        optional("option", Tables(&OPTION), "Something to buy, as a whole."),
        optional("price", Tables(&PRICE), "What one value of a varied key costs."),
    ],
};

static TERMS: Shape = Shape {
    about: "Over how many years, and at which rates beyond general inflation.",
    keys: &[
        assumed("discount_percent", number(0.0, 30.0, 3.5), "Discount rate."),
        assumed("price_growth_percent", number(-10.0, 15.0, 0.0), "Growth of energy prices."),
        assumed("years", Whole { min: 1, max: 60, usual: 20 }, "Years that count."),
    ],
};

const EQUIPMENT: Key =
    required("equipment", number(0.0, 1e7, 900.0), "Equipment, without value-added tax.");
const FITTING: Key = assumed("fitting", number(0.0, 1e7, 0.0), "Fitting, without value-added tax.");
const VAT: Key = required("vat_percent", number(0.0, 50.0, 20.0), "Value-added tax on both.");
const LIFE: Key = required("life_years", number(0.5, 100.0, 20.0), "How long it lasts.");
const UPKEEP: Key = assumed("upkeep_per_year", number(0.0, 1e6, 0.0), "Upkeep in a year.");

static OPTION: Shape = Shape {
    about: "Something to buy, as a whole.",
    keys: &[
        required("name", Text("300 L cylinder"), "Name on the page."),
        required("change", Tables(&CHANGE), "What it changes in the site file."),
        EQUIPMENT,
        FITTING,
        VAT,
        LIFE,
        UPKEEP,
    ],
};

static CHANGE: Shape = Shape {
    about: "A number of the site file.",
    keys: &[
        required("key", Text("store.cylinder.volume_litres"), "Its path."),
        required("to", number(-1e9, 1e9, 300.0), "The new value."),
    ],
};

static PRICE: Shape = Shape {
    about: "What one value of a varied key costs, wherever it appears in a grid.",
    keys: &[
        required("key", Text("battery.capacity_kwh"), "Path of the number."),
        required("value", number(-1e9, 1e9, 8.0), "The value that costs this."),
        EQUIPMENT,
        FITTING,
        VAT,
        LIFE,
        UPKEEP,
    ],
};

/// What could be bought.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Years and rates.
    pub terms: Terms,
    /// Things to buy as a whole.
    pub options: Vec<Offer>,
    /// What single values cost: path, value, outlay.
    pub prices: Vec<(String, f64, Outlay)>,
}

/// Something to buy, as a whole.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// Its name.
    pub name: String,
    /// Paths of the site file and their new values.
    pub changes: Vec<(String, f64)>,
    /// What it costs.
    pub outlay: Outlay,
}

impl Default for Options {
    /// Nothing has a price; 20 years at 3.5 % real, the rate of HM Treasury's
    /// Green Book (2022), and prices that do not grow.
    fn default() -> Self {
        let terms = Terms { discount: 0.035, price_growth: 0.0, years: 20 };
        Self { terms, options: Vec::new(), prices: Vec::new() }
    }
}

/// Reads a file of options for a site in a currency; `file_name` is only used
/// in messages.
///
/// # Errors
/// Every problem of the file at once.
pub fn options(text: &str, file_name: &str, currency: &str) -> Result<Options, Report> {
    let mut faults = Faults::new(text, file_name);
    let read = tree::parse(text, &FILE, &mut faults).map(|root| {
        let stated = root.text("currency");
        if root.has("currency") && stated != currency && !root.blamed("currency") {
            faults.error(
                root.span_of("currency"),
                "currency",
                format!("the prices are in {stated}, but the site's tariff is in {currency}"),
                Some(format!("give prices in {currency}")),
            );
        }
        of(&root)
    });
    match read.filter(|_| !faults.any_error()) {
        Some(options) => Ok(options),
        None => Err(Report { faults: faults.sorted(Severity::Error) }),
    }
}

fn of(root: &Node) -> Options {
    let terms = root.part("terms");
    Options {
        terms: Terms {
            discount: terms.number("discount_percent") / 100.0,
            price_growth: terms.number("price_growth_percent") / 100.0,
            years: terms.number("years") as u32,
        },
        options: root
            .tables("option")
            .iter()
            .map(|node| Offer {
                name: node.text("name").to_owned(),
                changes: node
                    .tables("change")
                    .iter()
                    .map(|change| (change.text("key").to_owned(), change.number("to")))
                    .collect(),
                outlay: outlay(node),
            })
            .collect(),
        prices: root
            .tables("price")
            .iter()
            .map(|node| (node.text("key").to_owned(), node.number("value"), outlay(node)))
            .collect(),
    }
}

fn outlay(node: &Node) -> Outlay {
    Outlay {
        equipment: node.number("equipment"),
        fitting: node.number("fitting"),
        vat: node.number("vat_percent") / 100.0,
        life_years: node.number("life_years"),
        upkeep_per_year: node.number("upkeep_per_year"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = r#"
currency = "GBP"

[terms]
discount_percent = 4
years = 15

[[option]]
name = "300 L cylinder"
change = [
    { key = "store.cylinder.volume_litres", to = 300 },
    { key = "store.cylinder.standing_loss_kwh_per_24h", to = 1.7 },
]
equipment = 900
fitting = 350
vat_percent = 20
life_years = 25

[[price]]
key = "battery.capacity_kwh"
value = 8
equipment = 2400
vat_percent = 0
life_years = 12
upkeep_per_year = 10
"#;

    #[test]
    fn options_and_prices_are_read() {
        let read = options(GOOD, "options.toml", "GBP").expect("a sound file");
        assert_eq!(read.terms, Terms { discount: 0.04, price_growth: 0.0, years: 15 });
        assert_eq!(read.options[0].changes[0], ("store.cylinder.volume_litres".to_owned(), 300.0));
        assert!((read.options[0].outlay.price() - 1_500.0).abs() < 1e-9);
        assert!((read.prices[0].2.upkeep_per_year - 10.0).abs() < 1e-9);
        let bare = options("currency = \"GBP\"", "options.toml", "GBP").expect("a sound file");
        assert_eq!(bare, Options::default());
    }

    #[test]
    fn everything_wrong_is_told_at_once() {
        let text = GOOD
            .replace("equipment = 2400", "equipmnt = 2400")
            .replace("life_years = 25", "life_years = \"long\"");
        let report = options(&text, "options.toml", "EUR").expect_err("faults");
        let text = report.to_string();
        for words in ["did you mean `equipment`?", "`life_years` is a string", "give prices in EUR"]
        {
            assert!(text.contains(words), "no {words} in {text}");
        }
    }
}
