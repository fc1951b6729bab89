//! Daily hot-water patterns.
//!
//! Source: Commission Delegated Regulation (EU) No 812/2013, Annex VII, Table 3
//! (OJ L 239, 6.9.2013, p. 83). Reuse of EU legislation is allowed with the
//! source named. Many draws are the same small one, so each pattern is a list
//! of times of that draw and a list of the others.
//!
//! The table asks for heat above 10 °C at a least temperature. As a draw this
//! becomes: temperature at the tap = the peak temperature if one is given,
//! else the higher of the useful temperature and 40 °C; litres = heat /
//! (c · (temperature − 10 °C)).

use chrono::NaiveTime;
use optimiser::units::{Flow, Temperature, Volume};
use optimiser::water;

use super::scalar::WEEK;
use crate::house::DailyDraw;

/// Cold water of the regulation [°C].
const COLD: f64 = 10.0;

/// Heat of the small draw [kWh]; it asks for 3 L/min.
const SMALL_KWH: f64 = 0.105;

/// Hour and minute.
type Clock = (u32, u32);

/// Heat [kWh], flow [L/min] and temperature at the tap [°C].
type Tap = (f64, f64, f64);

/// One pattern.
struct Pattern {
    name: &'static str,
    small: &'static [Clock],
    others: &'static [(Clock, Tap)],
}

const S: Pattern = Pattern {
    name: "S",
    small: &[(7, 0), (7, 30), (8, 30), (9, 30), (11, 30), (11, 45), (18, 0), (18, 15)],
    others: &[
        ((12, 45), (0.315, 4.0, 55.0)),
        ((20, 30), (0.42, 4.0, 55.0)),
        ((21, 30), (0.525, 5.0, 45.0)),
    ],
};

const M: Pattern = Pattern {
    name: "M",
    small: &[
        (7, 0),
        (7, 30),
        (8, 1),
        (8, 15),
        (8, 30),
        (8, 45),
        (9, 0),
        (9, 30),
        (10, 30),
        (11, 30),
        (11, 45),
        (14, 30),
        (15, 30),
        (16, 30),
        (18, 0),
        (18, 15),
        (18, 30),
        (19, 0),
        (21, 15),
    ],
    others: &[
        ((7, 5), (1.4, 6.0, 40.0)),
        ((12, 45), (0.315, 4.0, 55.0)),
        ((20, 30), (0.735, 4.0, 55.0)),
        ((21, 30), (1.4, 6.0, 40.0)),
    ],
};

const L: Pattern = Pattern {
    name: "L",
    small: &[
        (7, 0),
        (7, 30),
        (7, 45),
        (8, 25),
        (8, 30),
        (8, 45),
        (9, 0),
        (9, 30),
        (10, 30),
        (11, 30),
        (11, 45),
        (14, 30),
        (15, 30),
        (16, 30),
        (18, 0),
        (18, 15),
        (18, 30),
        (19, 0),
        (21, 30),
    ],
    others: &[
        ((7, 5), (1.4, 6.0, 40.0)),
        ((8, 5), (3.605, 10.0, 40.0)),
        ((12, 45), (0.315, 4.0, 55.0)),
        ((20, 30), (0.735, 4.0, 55.0)),
        ((21, 0), (3.605, 10.0, 40.0)),
    ],
};

/// Small draws that the two largest patterns share.
const SMALL_OF_LARGE: &[Clock] = &[
    (7, 0),
    (7, 26),
    (8, 1),
    (8, 15),
    (8, 30),
    (8, 45),
    (9, 0),
    (9, 30),
    (10, 0),
    (10, 30),
    (11, 0),
    (11, 30),
    (11, 45),
    (14, 30),
    (15, 0),
    (15, 30),
    (16, 0),
    (16, 30),
    (17, 0),
    (18, 0),
    (18, 15),
    (18, 30),
    (19, 0),
    (21, 15),
];

const XL: Pattern = Pattern {
    name: "XL",
    small: SMALL_OF_LARGE,
    others: &[
        ((7, 15), (1.82, 6.0, 40.0)),
        ((7, 45), (4.42, 10.0, 40.0)),
        ((12, 45), (0.735, 4.0, 55.0)),
        ((20, 30), (0.735, 4.0, 55.0)),
        ((20, 46), (4.42, 10.0, 40.0)),
        ((21, 30), (4.42, 10.0, 40.0)),
    ],
};

const XXL: Pattern = Pattern {
    name: "XXL",
    small: SMALL_OF_LARGE,
    others: &[
        ((7, 15), (1.82, 6.0, 40.0)),
        ((7, 45), (6.24, 16.0, 40.0)),
        ((12, 45), (0.735, 4.0, 55.0)),
        ((20, 30), (0.735, 4.0, 55.0)),
        ((20, 46), (6.24, 16.0, 40.0)),
        ((21, 30), (6.24, 16.0, 40.0)),
    ],
};

/// The draws of a pattern in the order of the day; `None` for a name that is
/// not among S, M, L, XL and XXL.
pub(super) fn draws(name: &str) -> Option<Vec<DailyDraw>> {
    let pattern = [&S, &M, &L, &XL, &XXL].into_iter().find(|pattern| pattern.name == name)?;
    let small = pattern.small.iter().map(|&at| (at, (SMALL_KWH, 3.0, 40.0)));
    let mut draws: Vec<_> = small.chain(pattern.others.iter().copied()).map(draw).collect();
    draws.sort_by_key(|draw| draw.at);
    Some(draws)
}

fn draw(((hour, minute), (kwh, flow, celsius)): (Clock, Tap)) -> DailyDraw {
    DailyDraw {
        at: NaiveTime::from_hms_opt(hour, minute, 0).expect("the table holds times of day"),
        days: WEEK.to_vec(),
        volume: Volume::clamped(kwh / water::heat_kwh(1.0, celsius - COLD)),
        temperature: Temperature::clamped(celsius),
        flow: Flow::clamped(flow),
    }
}

/// Heat of draws above the cold water of the regulation [kWh].
pub(super) fn heat(draws: &[DailyDraw]) -> f64 {
    draws.iter().map(|d| water::heat_kwh(d.volume.litres(), d.temperature.celsius() - COLD)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Daily reference energies and numbers of draws of the same regulation,
    // Annex VII, Table 3.
    #[test]
    fn patterns_sum_to_the_reference_energy() {
        for (name, number, kwh) in [
            ("S", 11, 2.1),
            ("M", 23, 5.845),
            ("L", 24, 11.655),
            ("XL", 30, 19.07),
            ("XXL", 30, 24.53),
        ] {
            let draws = draws(name).expect("a known pattern");
            assert_eq!(draws.len(), number, "{name}");
            assert!((heat(&draws) - kwh).abs() < 1e-9, "{name}: {}", heat(&draws));
        }
        assert!(draws("colossal").is_none());
    }

    // Row by row against the table of the regulation, where it is at hand.
    #[test]
    fn patterns_agree_with_the_published_table() {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../../shared/data/dhw_tapping_EU812-2013_table3.csv"
        );
        let Ok(mut table) = csv::Reader::from_path(path) else {
            #[expect(clippy::print_stderr, reason = "a skipped check must be seen")]
            {
                eprintln!("skipped: {path} is absent");
            }
            return;
        };
        let rows: Vec<csv::StringRecord> = table.records().map(|row| row.expect("a row")).collect();
        let mut compared = 0;
        for name in ["S", "M", "L", "XL", "XXL"] {
            let ours = draws(name).expect("a known pattern");
            let theirs: Vec<_> = rows.iter().filter(|row| &row[0] == name).collect();
            assert_eq!(ours.len(), theirs.len());
            for (draw, row) in ours.iter().zip(theirs) {
                let number = |column: usize| row[column].parse::<f64>().ok();
                let (kwh, useful) = (number(2).expect("heat"), number(4).expect("temperature"));
                let celsius = number(5).unwrap_or(useful.max(40.0));
                assert_eq!(draw.at.format("%H:%M").to_string(), row[1], "{name}");
                assert!((draw.temperature.celsius() - celsius).abs() < 1e-9, "{name} {}", &row[1]);
                assert!(
                    (heat(std::slice::from_ref(draw)) - kwh).abs() < 1e-9,
                    "{name} {}",
                    &row[1]
                );
                let flow = number(3).expect("flow");
                assert!((draw.flow.litres_per_minute() - flow).abs() < 1e-9, "{name} {}", &row[1]);
                compared += 1;
            }
        }
        assert_eq!(compared, 118);
    }
}
