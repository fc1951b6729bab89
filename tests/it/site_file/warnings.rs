//! What is allowed but deserves a look.

use stowheat::site_file::Fault;

use super::{SMALL, good, with};

/// The warning of a file that contains a word.
#[track_caller]
fn warned(text: &str, word: &str) -> Fault {
    let warnings = good(text).warnings;
    let found = warnings.iter().find(|w| w.message.contains(word));
    found.cloned().unwrap_or_else(|| panic!("no warning with `{word}` in {warnings:#?}"))
}

#[test]
fn warnings_are_not_errors() {
    assert_eq!(warned(&with(SMALL, "cut_out_celsius = 80\n", ""), "states no cut-out").line, 26);
    warned(&with(SMALL, "fuse_amperes = 63", "fuse_amperes = 13"), "above the main fuse of 13 A");
    warned(&with(SMALL, "height_fraction = 0.04", "height_fraction = 0.5"), "never reach 60 °C");
    warned(&with(SMALL, "kelvin = 1.9", "kelvin = 0.1"), "far less than");
    let label = with(SMALL, "heat_loss_watts_per_kelvin = 1.9", "standing_loss_kwh_per_24h = 1.2");
    warned(&label, "taken as the loss in place");
    warned(&with(SMALL, "[[hygiene]]", "[[hygiene]]\ntemperature_celsius = 55"), "powers of ten");
    warned(&with(SMALL, "mixed_litres = 70", "mixed_litres = 700"), "can hold");
}

// Whether water is heated below the lowest element is decided by the simulated
// layers: C16, common practice.
#[test]
fn a_destratification_pump_answers_the_hygiene_warning() {
    let high = with(SMALL, "height_fraction = 0.04", "height_fraction = 0.5");
    let pumped = with(&high, "cut_out_celsius", "destratification_pump = true\ncut_out_celsius");
    assert!(!good(&pumped).warnings.iter().any(|w| w.message.contains("never reach")));
}
