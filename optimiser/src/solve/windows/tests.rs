use super::*;
use crate::model::{Formulation, Refinement};
use crate::problem::{Draw, Problem};
use crate::solve::tests::{house, near};
use crate::time::{Instant, Series};
use crate::units::{Energy, Price, Volume};

const DAYS: usize = 21;

/// Three weeks of a small house with sun by day, dear evenings and a draw in each of them.
fn weeks(seed: u64) -> Program {
    let slots = DAYS * 48;
    let problem = house(seed, slots);
    let first = problem.draws[0];
    let evenings = (0..DAYS as i64).map(|day| Draw {
        start: problem.horizon.start() + (48 * day + 38) * 1_800,
        volume: Volume::clamped(40.0 + (day * 37 % 50) as f64),
        ..first
    });
    // Each day has a level of its own; the evening is dearer than the night.
    let level = |slot: usize| 15.0 + (slot / 48 * 29 % 11) as f64;
    let swing = |slot: usize| (std::f64::consts::TAU * (slot % 48) as f64 / 48.0).cos();
    let price = |slot: usize| Price::clamped(level(slot) - 9.0 * swing(slot + 10));
    let sun = |slot: usize| Energy::clamped((-0.9 * swing(slot)).max(0.0));
    let horizon = &problem.horizon;
    let import = Series::new("import", horizon, (0..slots).map(price).collect());
    let pv = Series::new("sun", horizon, (0..slots).map(sun).collect());
    let problem = Problem {
        draws: evenings.collect(),
        import_price: import.expect("prices"),
        pv: pv.expect("sun"),
        ..problem
    };
    let problem = problem.validated().expect("a sound house");
    Formulation::new(&problem, &Refinement::default()).program
}

#[test]
fn weeks_in_windows_are_the_weeks_in_one() {
    for seed in [5, 6] {
        let program = weeks(seed);
        let parts = solve(&program, SolveLimits::default(), &mut Vec::new())
            .expect("a verdict")
            .expect("a proof");
        let mut live = Live::new(program.clone()).expect("a sound program");
        let patient = SolveLimits { seconds: 300.0, ..SolveLimits::default() };
        let whole = live.solve(patient).expect("an answer");
        assert_eq!(whole.verdict, Verdict::Optimal);
        near(parts.answer.objective, whole.objective);
        for (row, &(lower, upper)) in program.bounds().iter().enumerate() {
            let (indices, values) = program.terms(row);
            let terms = indices.iter().zip(values);
            let sum: f64 = terms.map(|(&c, value)| value * parts.answer.values[c as usize]).sum();
            assert!(lower - 1e-6 <= sum && sum <= upper + 1e-6, "{lower} <= {sum} <= {upper}");
        }
        for (column, &value) in program.columns().iter().zip(&parts.answer.values) {
            assert!(column.lower - 1e-6 <= value && value <= column.upper + 1e-6);
        }
    }
}

// Where the windows of one program ended is only a place to begin: whatever the next one
// is, its answer is its own.
#[test]
fn programs_one_after_the_other_are_solved_as_each_by_itself() {
    let limits = SolveLimits::default();
    let mut solver = PeriodSolver::new(limits);
    for program in [weeks(5), weeks(6), trader(1_600, (100, 300), None), weeks(5)] {
        let alone = PeriodSolver::new(limits).solve(&program).expect("an answer");
        let beside = solver.solve(&program).expect("an answer");
        assert_eq!(beside.answer.verdict, Verdict::Optimal);
        near(beside.answer.objective, alone.answer.objective);
    }
}

// What is lost at a joint is got back by the best multipliers around it.
#[test]
fn multipliers_are_joined_anew_where_they_do_not_fit() {
    let program = weeks(5);
    let places = Places::of(&program).expect("slots one after the other");
    let best = solve(&program, SolveLimits::default(), &mut Vec::new());
    let Best { answer, open } = best.expect("a verdict").expect("a proof");
    assert!(open.abs() < 1e-12, "{open}");
    let mut settled = Settled { values: answer.values, ..Settled::nothing(&program, &places) };
    settled.duals = answer.duals;
    let joint = 2 * SETTLED;
    for slot in joint..joint + 30 {
        for &row in &places.rows_of[slot] {
            settled.duals[row] *= 0.7;
        }
    }
    let spoiled = settled.open();
    assert!(spoiled > 1e-3, "{spoiled}");
    settled.joints = vec![joint];
    settled.mend(SolveLimits::default()).expect("an answer");
    let mended = settled.open();
    assert!(mended <= PROVEN, "{mended}");
    let open = settled.best().open;
    assert!(open.abs() < 1e-12, "{open}");
}

/// A store without losses that can buy in one slot and sell in another; the row of a slot
/// may also name a column of a later one.
fn trader(slots: usize, (buys, sells): (usize, usize), joined: Option<(usize, usize)>) -> Program {
    let mut program = Program::default();
    let columns: Vec<_> = (0..slots)
        .map(|slot| {
            program.open_columns(Instant::from_unix(1_800 * slot as i64));
            let bought = program.column(if slot == buys { 1.0 } else { 5.0 }, 0.0, 3.0);
            let sold = program.column(if slot == sells { -9.0 } else { -0.5 }, 0.0, 4.0);
            let level = program.column(0.0, 0.0, 10.0);
            program.close_columns();
            [bought, sold, level]
        })
        .collect();
    for (slot, &[bought, sold, level]) in columns.iter().enumerate() {
        let first = program.bounds().len();
        let before = slot.checked_sub(1).map(|slot| (columns[slot][2], -1.0));
        let terms = [(level, 1.0), (bought, -1.0), (sold, 1.0)];
        let later = joined.filter(|(own, _)| *own == slot).map(|(_, far)| (columns[far][1], 1.0));
        program.row(0.0, 0.0, terms.into_iter().chain(before).chain(later));
        program.claim_rows(slot, first);
    }
    program
}

// Closed form: 4 units are sold at 9; 3 of them cost 1 and one costs 5.
#[test]
fn who_must_look_further_ahead_does_or_proves_nothing() {
    let limits = SolveLimits::default();
    for (sells, proves) in [(300, true), (500, true), (1_500, true), (3_900, false)] {
        let program = trader(4_000, (100, sells), None);
        let parts = solve(&program, limits, &mut Vec::new()).expect("a verdict");
        assert_eq!(parts.is_some(), proves, "sold at {sells}");
        near(parts.map_or(3.0 + 5.0 - 36.0, |best| best.answer.objective), -28.0);
        let Best { answer, open } = PeriodSolver::new(limits).solve(&program).expect("an answer");
        near(answer.objective, -28.0);
        assert!(open.abs() < 1e-12, "{open}");
    }
}

#[test]
fn slots_that_are_joined_otherwise_and_short_programs_are_left_alone() {
    let parts = |program: &Program| {
        solve(program, SolveLimits::default(), &mut Vec::new()).expect("a verdict")
    };
    assert!(parts(&trader(1_200, (100, 300), None)).is_some());
    assert!(parts(&trader(1_200, (100, 300), Some((5, 900)))).is_none());
    assert!(parts(&trader(100, (10, 20), None)).is_none());
    // What stands behind the slots may join them at its latest slot.
    let mut program = trader(1_200, (100, 300), None);
    let [early, late] = [5, 900].map(|slot| program.blocks()[slot].columns.start as u32);
    let terms = [early, late].map(|column| (crate::model::Col(column), 1.0));
    program.row(0.0, f64::INFINITY, terms);
    assert!(parts(&program).is_some());
}

// By hand: one unit at 2, of which at most 3 are to be had, and any at 5.
#[test]
fn multipliers_that_leave_a_column_without_end_prove_nothing() {
    let mut program = Program::default();
    let cheap = program.column(2.0, 0.0, 3.0);
    let dear = program.column(5.0, 0.0, f64::INFINITY);
    program.row(4.0, f64::INFINITY, [(cheap, 1.0), (dear, 1.0)]);
    near(bound(&program, &mut [5.0]), 11.0);
    near(bound(&program, &mut [2.0]), 8.0);
    assert!(bound(&program, &mut [5.1]).is_infinite());
}
