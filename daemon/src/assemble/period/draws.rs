//! Draws of a past period.

use optimiser::problem::Draw;
use optimiser::time::Horizon;
use optimiser::units::Flow;

use super::super::{AssembleError, Known, habits};
use super::PeriodError;
use crate::house::{DrawHabit, DrawKind, House};
use crate::series::{Dimension, SeriesFile};

/// Flow at the tap where draws come from a file and the site states none [L/min].
const USUAL_FLOW: Flow = Flow::constant(8.0);

/// Draws of a file where one is given, else those of the site's list; and
/// whether they are known in advance.
pub(super) fn draws(
    house: &House,
    known: &Known,
    column: Option<&str>,
    horizon: &Horizon,
    notes: &mut Vec<String>,
) -> Result<(Vec<Draw>, bool), PeriodError> {
    let Some(file) = &known.draws else {
        let mut draws = Vec::new();
        for habit in &house.draws {
            let DrawKind::Daily(list) = &habit.kind else {
                return Err(AssembleError::Column(
                    "the site's draws are a series; give one with --draws FILE".to_owned(),
                )
                .into());
            };
            draws.extend(habits::daily(house, habit.store, list, horizon));
        }
        notes.push(
            "draws follow the site's list to the minute and are known in advance; a real household surprises (give --draws FILE)"
                .to_owned(),
        );
        return Ok((draws, true));
    };
    let mut draws = Vec::new();
    let mut stated = false;
    for habit in &house.draws {
        if let DrawKind::Series { .. } = habit.kind {
            stated = true;
            draws.extend(habits::series_draws(habit, file, horizon)?);
        }
    }
    if !stated {
        draws = habits::series_draws(&instead(house, file, column)?, file, horizon)?;
        notes.push(format!("the draws of {} take the place of the site's list", file.name()));
    }
    Ok((draws, false))
}

/// A habit that follows a file in a house with a list.
fn instead(
    house: &House,
    file: &SeriesFile,
    column: Option<&str>,
) -> Result<DrawHabit, AssembleError> {
    let column = match column {
        Some(column) => column.to_owned(),
        None => file
            .only(Dimension::Volume)
            .map_err(|error| AssembleError::Column(format!("{error} (with --draws-column)")))?
            .header()
            .to_owned(),
    };
    let store = house.draws.first().map_or(0, |habit| habit.store);
    Ok(DrawHabit {
        store,
        kind: DrawKind::Series {
            column,
            temperature: house.site.stores[store].use_temperature,
            flow: USUAL_FLOW,
            scale: 1.0,
        },
    })
}
