//! Houses on the way from the house as it stands to a candidate: every number
//! that the candidate changes moves together.

use optimiser::units::{Energy, Power};

use super::candidate::{Candidate, Change, leave_out};
use crate::house::House;
use crate::site_file::{self, Place, place, with_numbers};

/// The battery's capacity, which may begin or end at nothing.
const BATTERY: &str = "battery.capacity_kwh";

/// Length of the step that turns numbers of a program into their slopes, as a share
/// of the way to a candidate.
pub(super) const STEP: f64 = 1e-4;

/// The house at a share of the way to a candidate, above 0. A battery that
/// comes or goes has its reserve and its powers in step with its capacity, and begins
/// empty.
///
/// # Errors
/// If there is no such house, in words.
pub(super) fn between(
    (present, candidate): (&Candidate, &Candidate),
    measured: &[(String, f64)],
    share: f64,
) -> Result<House, String> {
    let appears = |change: &Change| {
        change.key == BATTERY && (change.from.abs() < 1e-12 || change.to.abs() < 1e-12)
    };
    let at = |change: &Change| change.from + share * (change.to - change.from);
    let places: Vec<Place> = candidate
        .changes
        .iter()
        .map(|change| place(&candidate.text, &change.key))
        .collect::<Result<_, _>>()?;
    let numbers: Vec<f64> = candidate
        .changes
        .iter()
        .map(|change| if appears(change) { change.from.max(change.to) } else { at(change) })
        .collect();
    let numbers: Vec<(&Place, f64)> = places.iter().zip(numbers).collect();
    let text = with_numbers(&candidate.text, &numbers);
    let gone = candidate.left_out.iter().filter(|path| present.left_out.contains(path));
    let mut house = read(&text, measured, gone)?;
    if let Some(change) = candidate.changes.iter().find(|change| appears(change))
        && let Some(battery) = &mut house.site.battery
    {
        let ratio = at(change) / change.from.max(change.to);
        battery.capacity = Energy::clamped(battery.capacity.kwh() * ratio);
        battery.reserve = Energy::clamped(battery.reserve.kwh() * ratio);
        battery.charge_limit = Power::clamped(battery.charge_limit.kw() * ratio);
        battery.discharge_limit = Power::clamped(battery.discharge_limit.kw() * ratio);
        house.state.battery = battery.reserve;
    }
    Ok(house)
}

/// A candidate's house with some numbers as they were measured.
///
/// # Errors
/// If there is no such house, in words.
pub(super) fn as_measured(
    candidate: &Candidate,
    measured: &[(String, f64)],
) -> Result<House, String> {
    if measured.is_empty() {
        return Ok(candidate.house.clone());
    }
    read(&candidate.text, measured, candidate.left_out.iter())
}

fn read<'a>(
    text: &str,
    measured: &[(String, f64)],
    gone: impl Iterator<Item = &'a String>,
) -> Result<House, String> {
    let places: Vec<Place> =
        measured.iter().map(|(key, _)| place(text, key)).collect::<Result<_, _>>()?;
    let numbers: Vec<(&Place, f64)> =
        places.iter().zip(measured.iter().map(|(_, number)| *number)).collect();
    let text = with_numbers(text, &numbers);
    let mut house = site_file::read(&text, "the site file with other numbers")
        .map_err(|report| report.rendered(false))?
        .house;
    for path in gone {
        leave_out(&mut house, &place(&text, path)?);
    }
    Ok(house)
}
