//! Headers of columns: name of the quantity, then the unit.

use super::unit::{Dimension, Money, PriceUnit, UNITS, Unit};

/// What a header says.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Header {
    pub(super) name: String,
    pub(super) currency: Option<String>,
    pub(super) price_unit: Option<PriceUnit>,
    pub(super) unit: Unit,
}

/// Names with a fixed meaning and the unit most often written after them.
const NAMES: [(&str, &[Dimension], &str); 10] = [
    ("price", &[Dimension::Price], "eur_per_mwh"),
    ("ghi", &[Dimension::Irradiance, Dimension::Irradiation], "w_per_m2"),
    ("dni", &[Dimension::Irradiance, Dimension::Irradiation], "w_per_m2"),
    ("dhi", &[Dimension::Irradiance, Dimension::Irradiation], "w_per_m2"),
    ("temp", &[Dimension::Temperature], "c"),
    ("wind", &[Dimension::Speed], "m_per_s"),
    ("humidity", &[Dimension::Share], "pct"),
    ("load", &[Dimension::Energy, Dimension::Power], "kwh"),
    ("pv", &[Dimension::Energy, Dimension::Power], "kwh"),
    ("draw", &[Dimension::Volume], "l"),
];

/// Reads a header.
///
/// # Errors
/// Rule and remedy, if the header names no known unit or one that its quantity
/// does not have.
pub(super) fn parse(header: &str) -> Result<Header, (String, String)> {
    let lower = header.to_lowercase();
    let plain = without_variant(&lower);
    let found = price(plain).or_else(|| physical(plain));
    let Some(found) = found else {
        return Err(("does not end with a known unit".into(), unknown_unit(plain)));
    };
    if let Some((word, dimensions, example)) = meaning(&found.name)
        && !dimensions.contains(&found.unit.dimension)
    {
        let kinds: Vec<String> = dimensions.iter().map(ToString::to_string).collect();
        let suggestion =
            nearest(plain).unwrap_or_else(|| format!("did you mean `{word}_{example}`? "));
        return Err((
            format!("has a unit of {}", found.unit.dimension),
            format!("{suggestion}a column named `{word}` holds {}", kinds.join(" or ")),
        ));
    }
    Ok(found)
}

/// Leaves out a trailing `_200lpd`, which tells columns of draws apart by the
/// litres a day they were made for.
fn without_variant(header: &str) -> &str {
    match header.rsplit_once('_') {
        Some((head, tail))
            if tail
                .strip_suffix("lpd")
                .is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit())) =>
        {
            head
        }
        _ => header,
    }
}

fn price(header: &str) -> Option<Header> {
    let (head, per) = header.rsplit_once("_per_")?;
    let (name, word) = head.rsplit_once('_')?;
    let money = Money::from_word(word)?;
    let price_unit = PriceUnit::from_words(&money, per)?;
    (!name.is_empty()).then(|| Header {
        name: name.into(),
        currency: money.currency().map(Into::into),
        price_unit: Some(price_unit),
        unit: price_unit.unit(money.currency().unwrap_or_default()),
    })
}

fn physical(header: &str) -> Option<Header> {
    UNITS
        .iter()
        .filter_map(|unit| {
            let name = header.strip_suffix(unit.suffix)?.strip_suffix('_')?;
            (!name.is_empty()).then(|| Header {
                name: name.into(),
                currency: None,
                price_unit: None,
                unit: *unit,
            })
        })
        .max_by_key(|found| found.unit.suffix.len())
}

fn meaning(name: &str) -> Option<(&'static str, &'static [Dimension], &'static str)> {
    NAMES.into_iter().find(|(word, ..)| name.split('_').any(|part| part == *word))
}

/// The remedy for a header without a known unit: the nearest unit if one is
/// near, and all of them.
fn unknown_unit(header: &str) -> String {
    let suffixes: Vec<&str> = UNITS.iter().map(|unit| unit.suffix).collect();
    let usual = || {
        let (_, _, example) = meaning(header)?;
        Some(format!("did you mean `{header}_{example}`? "))
    };
    format!(
        "{}known units are {}, and for prices CURRENCY_per_kwh or CURRENCY_per_mwh with an ISO \
         4217 code or p, c, ct, cent, ore",
        nearest(header).or_else(usual).unwrap_or_default(),
        suffixes.join(", ")
    )
}

/// The header with the known unit most like its own, of those that its quantity
/// can have.
fn nearest(header: &str) -> Option<String> {
    let prices = ["eur_per_mwh", "gbp_per_mwh", "eur_per_kwh", "p_per_kwh", "c_per_kwh"];
    let known = UNITS
        .iter()
        .map(|unit| (unit.suffix, unit.dimension))
        .chain(prices.map(|unit| (unit, Dimension::Price)))
        .filter(|(unit, dimension)| {
            let fits = meaning(header).is_none_or(|(_, kinds, _)| kinds.contains(dimension));
            fits && unit.len() > 2
        });
    known
        .flat_map(|(unit, _)| {
            let tails = header.match_indices('_').map(|(at, _)| header.split_at(at));
            tails.map(move |(name, tail)| {
                (strsim::normalized_damerau_levenshtein(&tail[1..], unit), name, unit)
            })
        })
        .filter(|(likeness, ..)| *likeness >= 0.5)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name, unit)| format!("did you mean `{name}_{unit}`? "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(header: &str, name: &str, dimension: Dimension, one_is: f64) {
        let found = parse(header).unwrap_or_else(|fault| panic!("{header}: {fault:?}"));
        assert_eq!((found.name.as_str(), found.unit.dimension), (name, dimension), "{header}");
        let value = found.unit.convert(1.0);
        assert!((value - one_is).abs() < 1e-12, "{header}: {value} is not {one_is}");
    }

    #[test]
    fn prices_in_any_currency() {
        check("price_eur_per_mwh", "price", Dimension::Price, 0.1);
        check("system_price_gbp_per_mwh", "system_price", Dimension::Price, 0.1);
        check("import_price_p_per_kwh", "import_price", Dimension::Price, 1.0);
        check("price_GBP_per_kWh", "price", Dimension::Price, 100.0);
        check("price_dkk_per_mwh", "price", Dimension::Price, 0.1);
        check("price_ct_per_mwh", "price", Dimension::Price, 0.001);
        // The yen has no minor unit and the dinar has thousandths: ISO 4217.
        check("price_jpy_per_kwh", "price", Dimension::Price, 1.0);
        check("price_kwd_per_mwh", "price", Dimension::Price, 1.0);
    }

    #[test]
    fn the_currency_is_kept() {
        let currency = |header| parse(header).expect("a price").currency;
        assert_eq!(currency("price_aud_per_mwh").as_deref(), Some("AUD"));
        assert_eq!(currency("price_p_per_kwh").as_deref(), Some("GBP"));
        assert_eq!(currency("price_c_per_kwh"), None);
    }

    #[test]
    fn physical_quantities() {
        check("load_kwh", "load", Dimension::Energy, 1.0);
        check("load_wh", "load", Dimension::Energy, 0.001);
        check("pv_w", "pv", Dimension::Power, 0.001);
        check("ghi_w_per_m2", "ghi", Dimension::Irradiance, 1.0);
        check("direct_horizontal_w_per_m2", "direct_horizontal", Dimension::Irradiance, 1.0);
        check("ghi_wh_per_m2", "ghi", Dimension::Irradiation, 1.0);
        check("temp_air_c", "temp_air", Dimension::Temperature, 1.0);
        check("temp_air_k", "temp_air", Dimension::Temperature, -272.15);
        check("temp_air_f", "temp_air", Dimension::Temperature, -31.0 * 5.0 / 9.0);
        check("wind_speed_m_per_s", "wind_speed", Dimension::Speed, 1.0);
        check("wind_speed_km_per_h", "wind_speed", Dimension::Speed, 1.0 / 3.6);
        check("rel_humidity_pct", "rel_humidity", Dimension::Share, 1.0);
        check("draw_l", "draw", Dimension::Volume, 1.0);
        check("draw_l_200lpd", "draw", Dimension::Volume, 1.0);
    }

    fn refusal(header: &str) -> String {
        let (rule, remedy) = parse(header).expect_err(header);
        format!("{rule}; {remedy}")
    }

    #[test]
    fn an_unknown_unit_names_the_known_ones_and_the_nearest() {
        for (header, nearest) in [
            ("price_gbp_per_mw", "did you mean `price_gbp_per_mwh`?"),
            ("load_khw", "did you mean `load_kwh`?"),
            ("ghi_w_m2", "did you mean `ghi_w_per_m2`?"),
            ("ghi", "did you mean `ghi_w_per_m2`?"),
            ("price", "did you mean `price_eur_per_mwh`?"),
        ] {
            let text = refusal(header);
            assert!(text.starts_with("does not end with a known unit"), "{text}");
            assert!(text.contains(nearest), "{text}");
            assert!(text.contains("km_per_h") && text.contains("ISO 4217"), "{text}");
        }
    }

    #[test]
    fn a_unit_that_the_quantity_does_not_have_is_refused() {
        assert_eq!(
            refusal("price_eur_mwh"),
            "has a unit of energy; did you mean `price_eur_per_mwh`? a column named `price` holds \
             price"
        );
        assert!(refusal("price_kwh").contains("did you mean `price_"));
        assert!(refusal("temp_air_kwh").contains("did you mean `temp_c`?"));
        assert!(refusal("pv_c").contains("energy or power"));
    }
}
