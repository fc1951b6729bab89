//! What one more unit of a capacity is worth to somebody who knows the whole
//! period: the multipliers of the program behind [`prescient`].
//!
//! By the envelope theorem the value changes with a size as the Lagrangian does
//! with the answer held fixed:
//!
//! `dz = Σ_j dc_j·x_j + Σ_i y_i·(db_i − Σ_j dA_ij·x_j) + Σ_j r_j·dbound_j`
//!
//! with `r = c − Aᵀy`. So one solve gives the multiplier of every capacity, and
//! whatever a size changes in the program is counted: a larger store also has
//! more room between its elements. Where the value has a kink the multiplier is
//! not unique; then those just beside the point are the one-sided values.
//!
//! [`prescient`]: crate::replay::bound::prescient

use super::Capacity;
use crate::model::{Formulation, Program, Refinement};
use crate::problem::Problem;
use crate::replay::bound::{Comfort, held, problem};
use crate::replay::{Record, Stage, StoredWorth, Timeline};
use crate::solve::{Answer, Best, PeriodSolver, Verdict};
use crate::units::Energy;

/// Distance of the points beside a size, as a share of it.
const BESIDE: f64 = 0.01;

/// Length of the step that turns numbers of the program into their slopes.
const SLOPE: f64 = 1e-4;

/// The answer of a program with its multipliers.
#[derive(Debug, Clone)]
pub struct Priced(Answer);

/// What a capacity is worth near its size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marginal {
    /// Which one.
    pub capacity: Capacity,
    /// Its size, in its own unit.
    pub size: f64,
    /// Value of a unit more, just above the size [minor].
    pub up: f64,
    /// Value of the last unit, just below the size [minor].
    pub down: f64,
}

impl Priced {
    /// Least value of the objective: money and what is missing, less the worth
    /// of what is left [minor].
    pub fn objective(&self) -> f64 {
        self.0.objective
    }
}

/// Solves a problem as one linear program.
///
/// # Errors
/// Why there is no answer, in words.
pub fn priced(problem: &Problem, solver: &mut PeriodSolver) -> Result<Priced, String> {
    let best = solver.solve(&program(problem)).map_err(|error| error.to_string())?;
    let Best { answer, open } = best;
    match answer.verdict {
        Verdict::Optimal if open > 0.0 => Err(format!(
            "the least cost of the period is known only to within {open:.1} minor units"
        )),
        Verdict::Optimal => Ok(Priced(answer)),
        Verdict::Limit => Err("the time limit was reached".to_owned()),
        Verdict::Infeasible => Err("the limits leave load unserved".to_owned()),
        Verdict::Failed(why) => Err(why.to_owned()),
    }
}

/// How fast the objective changes from the problem that was solved towards
/// another, for a step of a length between the two [minor for each unit].
///
/// # Errors
/// If the other problem makes a program of another shape.
pub fn multiplier(
    Priced(answer): &Priced,
    (from, to): (&Problem, &Problem),
    step: f64,
) -> Result<f64, String> {
    let (own, changed) = (program(from), program(to));
    let alike = own.columns().len() == changed.columns().len()
        && own.bounds().len() == changed.bounds().len()
        && (0..own.bounds().len()).all(|row| own.terms(row).0 == changed.terms(row).0);
    if !alike {
        return Err("the program has another shape there".to_owned());
    }
    let (x, y) = (&answer.values, &answer.duals);
    let mut reduced: Vec<f64> = own.columns().iter().map(|c| c.cost).collect();
    let mut change = 0.0;
    for (row, &dual) in y.iter().enumerate() {
        let ((places, values), (_, new)) = (own.terms(row), changed.terms(row));
        let mut moved = 0.0;
        for ((&place, &old), &new) in places.iter().zip(values).zip(new) {
            reduced[place as usize] -= dual * old;
            moved += (new - old) * x[place as usize];
        }
        let ((lower, upper), (new_lower, new_upper)) = (own.bounds()[row], changed.bounds()[row]);
        let bound = if dual > 0.0 { shift(lower, new_lower) } else { shift(upper, new_upper) };
        change += dual * (bound - moved);
    }
    for ((column, new), (&x, &reduced)) in
        own.columns().iter().zip(changed.columns()).zip(x.iter().zip(&reduced))
    {
        let bound = if reduced > 0.0 {
            shift(column.lower, new.lower)
        } else {
            shift(column.upper, new.upper)
        };
        change += (new.cost - column.cost) * x + reduced * bound;
    }
    Ok(change / step)
}

fn program(problem: &Problem) -> Program {
    Formulation::new(problem, &Refinement::default()).program
}

/// How far a bound moves; what is no bound does not.
fn shift(old: f64, new: f64) -> f64 {
    if old.is_finite() && new.is_finite() { new - old } else { 0.0 }
}

/// What the period costs somebody who knows all of it, with a capacity at
/// another size, penalties for what is missing included [minor].
///
/// # Errors
/// Why there is no answer, in words.
pub fn value(
    stage: &Stage<'_>,
    worth: StoredWorth,
    (capacity, size): (Capacity, f64),
    solver: &mut PeriodSolver,
) -> Result<f64, String> {
    let problem = resized(stage, worth, capacity, size)?;
    Ok(priced(&problem, solver)?.objective() + held(stage, worth))
}

/// What a period costs somebody who knows all of it, penalties for what is missing
/// included [minor], and how fast that changes towards another house, whatever numbers
/// differ between them, for a step of a length between the two [minor for each unit].
///
/// # Errors
/// Why there is no answer, in words; houses whose programs have another shape have
/// none.
pub fn least_and_slope(
    (from, to): (&Stage<'_>, &Stage<'_>),
    step: f64,
    solver: &mut PeriodSolver,
) -> Result<(f64, f64), String> {
    let worth = from.stored_worth();
    let here = problem(from, worth, Comfort::Draws)?;
    let next = problem(to, worth, Comfort::Draws)?;
    let priced = priced(&here, solver)?;
    let of_program = multiplier(&priced, (&here, &next), step)?;
    let held = [from, to].map(|house| held(house, worth));
    Ok((priced.objective() + held[0], of_program + (held[1] - held[0]) / step))
}

/// What a period costs somebody who knows all of it, penalties for what is missing
/// included [minor].
///
/// # Errors
/// Why there is no answer, in words.
pub fn least(
    stage: &Stage<'_>,
    worth: StoredWorth,
    solver: &mut PeriodSolver,
) -> Result<f64, String> {
    Ok(priced(&problem(stage, worth, Comfort::Draws)?, solver)?.objective() + held(stage, worth))
}

/// The value of a unit of each capacity of a house over a period; for those in
/// `beside` just above and just below the size, for the others at it.
///
/// # Errors
/// Why there is no answer, in words.
pub fn multipliers(
    stage: &Stage<'_>,
    worth: StoredWorth,
    beside: &[Capacity],
    solver: &mut PeriodSolver,
) -> Result<Vec<Marginal>, String> {
    let here = priced(&problem(stage, worth, Comfort::Draws)?, solver)?;
    let slope = |priced: &Priced, capacity, from: &Problem, size: f64| {
        let step = SLOPE * size;
        let to = resized(stage, worth, capacity, size + step)?;
        // What saves money has a falling cost.
        multiplier(priced, (from, &to), step).map(|slope| -slope)
    };
    let mut near = |capacity, size| marginal_at(stage, worth, (capacity, size), solver);
    let sized = Capacity::of(stage.site()).into_iter().map(|c| (c, c.size(stage.site())));
    sized
        .filter(|(_, size)| *size > 0.0)
        .map(|(capacity, size)| {
            let (up, down) = if beside.contains(&capacity) {
                (near(capacity, size * (1.0 + BESIDE))?, near(capacity, size * (1.0 - BESIDE))?)
            } else {
                let at = slope(&here, capacity, &resized(stage, worth, capacity, size)?, size)?;
                (at, at)
            };
            Ok(Marginal { capacity, size, up, down })
        })
        .collect()
}

/// The value of a unit of one capacity at a size that it need not have now.
///
/// # Errors
/// Why there is no answer, in words.
pub fn marginal_at(
    stage: &Stage<'_>,
    worth: StoredWorth,
    (capacity, size): (Capacity, f64),
    solver: &mut PeriodSolver,
) -> Result<f64, String> {
    let here = resized(stage, worth, capacity, size)?;
    let step = SLOPE * size;
    let next = resized(stage, worth, capacity, size + step)?;
    multiplier(&priced(&here, solver)?, (&here, &next), step).map(|slope| -slope)
}

/// The program of the period with a capacity at another size.
fn resized(
    stage: &Stage<'_>,
    worth: StoredWorth,
    capacity: Capacity,
    size: f64,
) -> Result<Problem, String> {
    let (site, start) = capacity.resized(stage.site(), stage.start(), size);
    let sunnier =
        (capacity == Capacity::Sun).then(|| sunnier(stage.timeline(), size)).transpose()?;
    let timeline = sunnier.as_ref().unwrap_or_else(|| stage.timeline());
    let stage = Stage::new(&site, timeline, &start).map_err(|error| error.to_string())?;
    problem(&stage, worth, Comfort::Draws)
}

fn sunnier(timeline: &Timeline, times: f64) -> Result<Timeline, String> {
    let record = timeline.record();
    let pv = record.pv.iter().map(|e| Energy::clamped(e.kwh() * times)).collect();
    Timeline::new(Record { pv, ..record.clone() }).map_err(|error| error.to_string())
}
