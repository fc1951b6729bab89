//! PV and base load on the slots of a plan.

use chrono::Timelike;
use optimiser::time::{Horizon, Slot};
use optimiser::units::Energy;

use crate::house::{BaseLoad, House, Pv};
use crate::local_time;
use crate::series::{Dimension, SeriesFile};
use crate::weather::overcast::{DULL_SHARE, dull_sky};
use crate::weather::pv;

use super::slots::Spans;
use super::{AssembleError, Known};

/// A day [s].
const DAY: i64 = 86_400;

pub(super) fn pv(
    house: &House,
    known: &Known,
    spans: &Spans,
    notes: &mut Vec<String>,
) -> Result<Vec<Energy>, AssembleError> {
    let nothing = Energy::constant(0.0);
    let Some(system) = &house.pv else { return Ok(vec![nothing; spans.all.len()]) };
    let stated = stated_pv(house, system, known, &spans.all)?;
    if stated[..spans.horizon.len()].iter().all(Option::is_some) {
        let mut stated = with_yesterday(stated, &spans.all);
        if matches!(system, Pv::Arrays(_)) && !known.states_air(&spans.all) {
            notes.push(format!(
                "where no outdoor temperature is known, the PV's air is taken as {}",
                pv::STANDARD_AIR
            ));
        }
        if let Some(recent) = known.recent(spans.all.start()) {
            let past = stated_pv(house, system, known, &recent)?;
            known.corrected_pv(&mut stated, &past, &spans.all);
        }
        return Ok(stated);
    }
    if let Some(learned) = known.learned_pv(&spans.all) {
        notes.push("PV is expected from what the last days measured".to_owned());
        return Ok(learned);
    }
    let span = Slot::new(spans.all.start(), spans.all.end());
    let dull = match (&house.location, span, system) {
        (Some(location), Some(span), Pv::Irradiance { .. } | Pv::Arrays(_)) => {
            let sky = known.with_air(&dull_sky(location, span), span);
            pv::energy(system, Some(location), &sky, &spans.all)?
        }
        _ => vec![None; spans.all.len()],
    };
    notes.push(if dull.iter().any(Option::is_some) {
        let share = (DULL_SHARE * 100.0).round();
        format!("where no weather is known, PV is counted as on a dull day: {share} % of a clear sky's light")
    } else {
        "where no PV forecast is known, PV is counted as nothing".to_owned()
    });
    let or_dull =
        |(stated, dull): (Option<Energy>, Option<Energy>)| stated.or(dull).unwrap_or(nothing);
    Ok(stated.into_iter().zip(dull).map(or_dull).collect())
}

/// What forecast or weather say about slots.
fn stated_pv(
    house: &House,
    system: &Pv,
    known: &Known,
    slots: &Horizon,
) -> Result<Vec<Option<Energy>>, AssembleError> {
    Ok(match (system, &known.pv, &known.weather) {
        (Pv::Forecast { scale }, Some(file), _) => energy_series(file, "pv", *scale, slots)?,
        (Pv::Forecast { .. }, None, _) | (_, _, None) => vec![None; slots.len()],
        (_, _, Some(_)) => {
            let span = Slot::new(slots.start(), slots.end());
            let weather = span.map(|span| known.weather_over(span)).unwrap_or_default();
            pv::energy(system, house.location.as_ref(), &weather, slots)?
        }
    })
}

/// Fills what is missing after the plan with the same hour a day earlier, whose
/// slots may be shorter.
fn with_yesterday(stated: Vec<Option<Energy>>, all: &Horizon) -> Vec<Energy> {
    let slots = all.slots();
    let mut filled: Vec<Energy> = Vec::with_capacity(stated.len());
    for (value, slot) in stated.into_iter().zip(slots) {
        let day_before = || {
            let day_before = Slot::new(slot.start() + -DAY, slot.end() + -DAY)?;
            let shared = |(other, energy): (&Slot, &Energy)| {
                energy.kwh() * other.overlap_seconds(day_before) as f64 / other.seconds() as f64
            };
            Some(Energy::clamped(slots.iter().zip(&filled).map(shared).sum()))
        };
        let energy = value.or_else(day_before).unwrap_or(Energy::constant(0.0));
        filled.push(energy);
    }
    filled
}

pub(super) fn base_load(
    house: &House,
    known: &Known,
    spans: &Spans,
    notes: &mut Vec<String>,
) -> Result<Vec<Energy>, AssembleError> {
    if let Some(learned) = known.learned_load(&spans.all) {
        notes.push("the base load is expected from what the last weeks measured".to_owned());
        return Ok(learned);
    }
    match &house.base_load {
        BaseLoad::Daily(steps) => {
            Ok(spans.all.slots().iter().map(|slot| daily_energy(steps, house, *slot)).collect())
        }
        BaseLoad::Series { scale } => {
            let Some(file) = &known.load else {
                return Err(AssembleError::Column(
                    "the site's base load is a series; give one with --load FILE".to_owned(),
                ));
            };
            let stated = energy_series(file, "load", *scale, &spans.all)?;
            let known_values: Vec<f64> = stated.iter().flatten().map(|e| e.kwh()).collect();
            if stated.iter().any(Option::is_none) {
                notes.push("where the load series has a gap, its mean is taken".to_owned());
            }
            let hours: f64 = spans
                .all
                .slots()
                .iter()
                .zip(&stated)
                .filter(|(_, e)| e.is_some())
                .map(|(s, _)| s.hours())
                .sum();
            let mean_kw = if hours > 0.0 { known_values.iter().sum::<f64>() / hours } else { 0.0 };
            let slots = spans.all.slots().iter().zip(stated);
            Ok(slots
                .map(|(slot, e)| e.unwrap_or(Energy::clamped(mean_kw * slot.hours())))
                .collect())
        }
    }
}

/// Energy of steps by local time of day in a slot, minute by minute where the
/// slot crosses a step.
pub(super) fn daily_energy(
    steps: &[(chrono::NaiveTime, optimiser::units::Power)],
    house: &House,
    slot: Slot,
) -> Energy {
    const PIECE: i64 = 300;
    let power_at = |instant| {
        let time = local_time::time_of_day(instant, house.time_zone);
        let step = steps.iter().rev().find(|(from, _)| *from <= time).or(steps.last());
        step.map_or(0.0, |(_, power)| power.kw())
    };
    debug_assert!(steps.iter().all(|(from, _)| from.second() == 0), "the site file gives minutes");
    let pieces = (0..).map(|i| slot.start() + i * PIECE).take_while(|start| *start < slot.end());
    let kwh: f64 = pieces
        .map(|start| power_at(start) * (slot.end().min(start + PIECE).hours_since(start)))
        .sum();
    Energy::clamped(kwh)
}

/// Energy of each slot from a column of energy or power.
pub(super) fn energy_series(
    file: &SeriesFile,
    name: &str,
    scale: f64,
    horizon: &Horizon,
) -> Result<Vec<Option<Energy>>, AssembleError> {
    let column = file
        .quantity(name)
        .filter(|c| matches!(c.dimension(), Dimension::Energy | Dimension::Power))
        .map_or_else(|| file.only(Dimension::Energy).or_else(|_| file.only(Dimension::Power)), Ok)
        .map_err(|error| AssembleError::Column(error.to_string()))?;
    let per_slot = |(value, slot): (Option<f64>, &Slot)| {
        let kwh = match column.dimension() {
            Dimension::Power => value? * slot.hours(),
            _ => value?,
        };
        Some(Energy::clamped(kwh * scale))
    };
    Ok(file.onto(column, horizon).into_iter().zip(horizon.slots()).map(per_slot).collect())
}
