//! What linear programs around the simulated trajectory make of a plan.
//!
//! Usage: `linearised DAYS [FIRST]`. For random days of real price years and two layouts
//! it takes the plan of the program and its cuts, and the plan as it is published after
//! the search; improves each by successive linearisation, and prints scores and times.
//!
//! In each round every element is given a little more in every slot, one at a time, and
//! the plant tells what that does to the draws, to what is kept ready, to other runs and to
//! what is left. With those slopes the next plan is a linear program, in which the battery
//! is free, within a distance of the last that shrinks where the plant thinks worse of it:
//! a trust region as in Nocedal and Wright, *Numerical Optimization*, chapter 18.

#![expect(clippy::print_stdout, reason = "a tool that prints its figures")]

use good_lp::{
    Expression, ProblemVariables, Solution, SolverModel, Variable, constraint, highs, variable,
};
use optimiser::judge::{Candidate, Effort, Judge};
use optimiser::plan::{Outcome, Planned, Planner};
use optimiser::plant::{Commands, Outcome as Run, StoreTrace};
use optimiser::problem::{HeaterId, Problem, ValueStep};
use optimiser::water::{KWH_PER_LITRE_KELVIN, heat_kwh};
use stowheat_tests::clock::Stopwatch;
use stowheat_tests::days::random_days;
use stowheat_tests::fine::quantile;

/// Heat by which slopes are taken [kWh].
const NUDGE: f64 = 0.1;

/// First and last distance of a plan from the one before, in each slot [kWh].
const FARTHEST: f64 = 0.8;
const NEAREST: f64 = 0.02;

/// Most rounds.
const ROUNDS: usize = 30;

/// Slopes below this are left out.
const NOTHING: f64 = 1e-6;

fn main() {
    let mut arguments = std::env::args().skip(1).map(|a| a.parse::<usize>().expect("a number"));
    let Some(days) = random_days(arguments.next().unwrap_or(40)) else {
        println!("skipped: the price years are not at hand");
        return;
    };
    let first = arguments.next().unwrap_or(0);
    let mut found: Vec<[f64; 6]> = Vec::new();
    for day in days.iter().skip(first) {
        let problem = &day.problem;
        let bare = Effort { rounds: 4, simulations: 0, rolling: false };
        let mut own = Vec::new();
        for effort in [bare, Effort::COLD] {
            let watch = Stopwatch::start();
            let outcome = Planner::default().with_effort(effort).plan(problem);
            let Outcome::Planned(planned) = outcome else {
                println!("{} {}: no plan", day.name, day.at);
                break;
            };
            let planning = watch.elapsed().as_secs_f64() * 1e3;
            let watch = Stopwatch::start();
            let (from, to, rounds) = improved(problem, &planned);
            own.push((from, to, planning, watch.elapsed().as_secs_f64() * 1e3, rounds));
        }
        let [cut, searched] = own[..] else { continue };
        println!(
            "{} {}: cut {:.2} -> {:.2} in {} rounds and {:.0} ms, searched {:.2} -> {:.2} in {:.0} + {:.0} ms",
            day.name,
            day.at,
            cut.0,
            cut.1,
            cut.4,
            cut.3,
            searched.0,
            searched.1,
            searched.2,
            searched.3
        );
        let cost = searched.0.abs().max(50.0);
        let more = |score: f64| (score - searched.0) / cost * 100.0;
        found.push([
            more(cut.0),
            more(cut.1),
            more(searched.1),
            cut.2 + cut.3,
            searched.2,
            searched.3,
        ]);
    }
    let names = [
        "cut, dearer than searched [%]",
        "cut and linearised [%]",
        "searched and linearised [%]",
        "time of cut and linearised [ms]",
        "time of searched [ms]",
        "time of linearising what was searched [ms]",
    ];
    for (index, name) in names.into_iter().enumerate() {
        let row: Vec<f64> = found.iter().map(|own| own[index]).collect();
        let at = |q| quantile(&row, q);
        println!(
            "{name}: 10th percentile {:.2}, median {:.2}, 90th {:.2}",
            at(0.1),
            at(0.5),
            at(0.9)
        );
    }
}

/// A plan improved by linearising; scores before and after, and rounds.
fn improved(problem: &Problem, planned: &Planned) -> (f64, f64, usize) {
    let mut judge = Judge::new(problem, &planned.schedule.hygiene).expect("a valid problem");
    let mut best = judge.exactly(Commands::of(problem, &planned.schedule));
    let from = best.score;
    let mut near = FARTHEST;
    let mut slopes = None;
    let mut rounds = 0;
    while near > NEAREST && rounds < ROUNDS {
        rounds += 1;
        let known = slopes.take().unwrap_or_else(|| Slopes::around(problem, &mut judge, &best));
        let Some(energies) = next(problem, &best, &known, near) else { break };
        let mut trial = best.clone();
        let slots = 0..problem.horizon.len();
        let differs = |slot: &usize| {
            energies.iter().zip(&best.energies).any(|(a, b)| (a[*slot] - b[*slot]).abs() > 1e-6)
        };
        let changed: Vec<usize> = slots.filter(differs).collect();
        trial.energies = energies;
        if !changed.is_empty()
            && judge.rerun(&best, &mut trial, &changed)
            && trial.score < best.score - 1e-3
        {
            best = trial;
            near = (near * 1.5).min(FARTHEST);
        } else {
            slopes = Some(known);
            near *= 0.5;
        }
    }
    (from, best.score, rounds)
}

/// Something of an outcome that must not be negative, and what each kWh of it weighs.
struct Margin {
    kwh: f64,
    weight: f64,
}

/// What an outcome has to spare of everything that is wanted, always in the same order.
fn margins(problem: &Problem, planned: &[Option<usize>], run: &Run) -> Vec<Margin> {
    let mut found = Vec::new();
    let slots = problem.horizon.slots();
    let weights = &problem.weights;
    for (index, (store, trace)) in problem.site.stores.iter().zip(&run.stores).enumerate() {
        for (slot, record) in trace.slots().iter().enumerate() {
            let now = |draw: &&optimiser::problem::Draw| {
                let span = slots[slot];
                draw.store == index && draw.start < span.end() && draw.end() > span.start()
            };
            let wanted = problem.draws.iter().filter(now).map(|draw| draw.temperature.celsius());
            if let Some(wanted) = wanted.reduce(f64::max) {
                let litres = store.volume.litres() / store.layers as f64;
                let spare = |t: &f64| litres * KWH_PER_LITRE_KELVIN * (t - wanted).max(0.0);
                let spare: f64 = trace.layers(slot + 1).iter().map(spare).sum();
                found.push(Margin { kwh: spare - record.unmet_kwh, weight: weights.unmet_per_kwh });
            }
            let litres = record.usable_litres - store.held_back.litres();
            let hot = store.use_temperature.above(store.mains);
            let weight = weights.short_per_kwh * slots[slot].hours();
            found.push(Margin { kwh: litres.signum() * heat_kwh(litres.abs(), hot), weight });
        }
    }
    for ready in problem.ready.iter().filter(|ready| ready.by <= problem.horizon.end()) {
        let store = &problem.site.stores[ready.store];
        let mains = store.mains.celsius();
        let boundary = slots.partition_point(|slot| slot.end() <= ready.by);
        let layers = run.stores[ready.store].layers(boundary);
        let litres = store.volume.litres() / layers.len() as f64;
        let least = ready.temperature.celsius() - 1e-3;
        let hot = layers.iter().rev().take_while(|t| **t >= least);
        let held: f64 = hot.map(|t| litres * KWH_PER_LITRE_KELVIN * (t - mains)).sum();
        let asked = heat_kwh(ready.volume.litres(), ready.temperature.above(store.mains));
        found.push(Margin {
            kwh: held - asked,
            weight: ready.urgency.min(1.0) * weights.short_per_kwh,
        });
    }
    for (rule, slot) in problem.hygiene.iter().zip(planned) {
        let Some(slot) = *slot else { continue };
        let trace: &StoreTrace = &run.stores[rule.store];
        let held =
            slots[slot..].partition_point(|s| s.end() - slots[slot].start() <= rule.hold_seconds);
        let coldest = trace.slots()[slot..(slot + held.max(1)).min(slots.len())]
            .iter()
            .map(|record| record.coldest)
            .fold(f64::INFINITY, f64::min);
        let litres = problem.site.stores[rule.store].volume.litres();
        let above = coldest - rule.temperature.celsius();
        found.push(Margin {
            kwh: litres * KWH_PER_LITRE_KELVIN * above,
            weight: weights.short_per_kwh,
        });
    }
    found
}

/// What one more kWh of each element in each slot does, around a plan.
struct Slopes {
    margins: Vec<Margin>,
    /// For each margin, by heater and slot.
    of_margins: Vec<Vec<(usize, usize, f64)>>,
    /// Energy used by all elements of a slot, by heater and slot.
    of_used: Vec<Vec<(usize, usize, f64)>>,
    /// Energy used by all elements in each slot [kWh].
    used: Vec<f64>,
    /// Heat left in each store, by heater and slot.
    of_left: Vec<Vec<(usize, usize, f64)>>,
    /// Heat left in each store [kWh].
    left: Vec<f64>,
}

impl Slopes {
    fn around(problem: &Problem, judge: &mut Judge<'_>, best: &Candidate) -> Self {
        let holds: Vec<Option<usize>> = problem
            .hygiene
            .iter()
            .map(|rule| {
                let trace = &best.outcome.stores[rule.store];
                let start =
                    trace.pasteurised(&problem.horizon, rule.temperature, rule.hold_seconds)?;
                problem.horizon.index_at(start)
            })
            .collect();
        let before = margins(problem, &holds, &best.outcome);
        let slots = problem.horizon.len();
        let used = |run: &Run, slot: usize| -> f64 {
            run.stores.iter().flat_map(|trace| trace.used(slot)).sum()
        };
        let left = |run: &Run| -> Vec<f64> {
            run.stores.iter().map(|t| t.slots().last().map_or(0.0, |s| s.stored_kwh)).collect()
        };
        let mut own = Self {
            of_margins: vec![Vec::new(); before.len()],
            of_used: vec![Vec::new(); slots],
            used: (0..slots).map(|slot| used(&best.outcome, slot)).collect(),
            of_left: vec![Vec::new(); best.outcome.stores.len()],
            left: left(&best.outcome),
            margins: before,
        };
        let heaters: Vec<HeaterId> = problem.heaters().collect();
        let mut trial = best.clone();
        for (heater, id) in heaters.into_iter().enumerate() {
            for slot in 0..slots {
                let (_, most) = problem.range_kwh(id, slot);
                trial.clone_from(best);
                let here = best.energies[heater][slot];
                let step = if here + NUDGE <= most { NUDGE } else { -NUDGE.min(here) };
                trial.energies[heater][slot] += step;
                if step.abs() < 1e-3 || !judge.rerun(best, &mut trial, &[slot]) {
                    continue;
                }
                let push = |to: &mut Vec<(usize, usize, f64)>, by: f64| {
                    if (by / step).abs() > NOTHING {
                        to.push((heater, slot, by / step));
                    }
                };
                let after = margins(problem, &holds, &trial.outcome);
                for ((to, after), before) in own.of_margins.iter_mut().zip(after).zip(&own.margins)
                {
                    push(to, after.kwh - before.kwh);
                }
                for (other, to) in own.of_used.iter_mut().enumerate() {
                    push(to, used(&trial.outcome, other) - own.used[other]);
                }
                let after = left(&trial.outcome);
                for ((to, after), before) in own.of_left.iter_mut().zip(after).zip(&own.left) {
                    push(to, after - before);
                }
            }
        }
        own
    }
}

/// The energies that the program around a plan would have, each within a distance of it.
fn next(problem: &Problem, best: &Candidate, slopes: &Slopes, near: f64) -> Option<Vec<Vec<f64>>> {
    let mut vars = ProblemVariables::new();
    let mut cost = Expression::default();
    let heaters: Vec<HeaterId> = problem.heaters().collect();
    let slots = problem.horizon.slots();
    let energy: Vec<Vec<Variable>> = heaters
        .iter()
        .zip(&best.energies)
        .map(|(id, row)| {
            row.iter()
                .enumerate()
                .map(|(slot, &here)| {
                    let (least, most) = problem.range_kwh(*id, slot);
                    let (low, high) = ((here - near).max(least), (here + near).min(most));
                    vars.add(variable().min(low.min(here)).max(high.max(here)))
                })
                .collect()
        })
        .collect();
    let moved = |terms: &[(usize, usize, f64)]| -> Expression {
        let mut sum = Expression::default();
        for &(heater, slot, slope) in terms {
            sum += slope * (energy[heater][slot] - best.energies[heater][slot]);
        }
        sum
    };
    let mut rows = Vec::new();
    for (margin, terms) in slopes.margins.iter().zip(&slopes.of_margins) {
        let reach: f64 = terms.iter().map(|(_, _, slope)| slope.abs() * near).sum();
        if margin.kwh > reach || (terms.is_empty()) {
            continue;
        }
        let short = vars.add(variable().min(0.0));
        cost += margin.weight * short;
        rows.push(constraint!(short + moved(terms) >= -margin.kwh));
    }
    // Worth of what is left falls in steps.
    let mut kept = |steps: &[ValueStep], vars: &mut ProblemVariables| -> Expression {
        let mut sum = Expression::default();
        for step in steps {
            let part = vars.add(variable().min(0.0).max(step.width.kwh()));
            cost -= step.value.per_kwh() * part;
            sum += part;
        }
        sum
    };
    for ((steps, left), terms) in
        problem.end_value.stores.iter().zip(&slopes.left).zip(&slopes.of_left)
    {
        let parts = kept(steps, &mut vars);
        rows.push(constraint!(parts <= *left + moved(terms)));
    }
    let end = kept(&problem.end_value.battery, &mut vars);
    let battery = problem.site.battery.as_ref();
    let floor = battery.map_or(0.0, |own| own.reserve.kwh().min(problem.state.battery.kwh()));
    let mut level: Option<Variable> = None;
    for (slot, span) in slots.iter().enumerate() {
        let hours = span.hours();
        let most = |kw: f64| variable().min(0.0).max(kw * hours);
        let import = vars.add(most(problem.site.grid.import_limit.kw()));
        let export = vars.add(most(problem.site.grid.export_limit.kw()));
        let pv = vars.add(variable().min(0.0).max(problem.pv[slot].kwh()));
        cost += problem.import_price[slot].per_kwh() * import;
        cost -= problem.export_price[slot].per_kwh() * export;
        let mut into: Expression = import + pv - export;
        if let Some(own) = battery {
            let fill = vars.add(most(own.charge_limit.kw()));
            let give = vars.add(most(own.discharge_limit.kw()));
            let after = vars.add(variable().min(floor).max(own.capacity.kwh()));
            cost += own.wear.per_kwh() * give;
            let stored =
                own.charge_efficiency.value() * fill - give / own.discharge_efficiency.value();
            rows.push(match level {
                Some(before) => constraint!(after == before + stored),
                None => constraint!(after == problem.state.battery.kwh() + stored),
            });
            if !own.charges_from_grid {
                rows.push(constraint!(fill <= pv));
            }
            if !own.exports {
                rows.push(constraint!(export <= pv));
            }
            into += give - fill;
            level = Some(after);
        }
        let used = slopes.used[slot] + moved(&slopes.of_used[slot]);
        rows.push(constraint!(into == problem.base_load[slot].kwh() + used));
    }
    if let Some(level) = level {
        rows.push(constraint!(end <= level - floor));
    }
    let mut model = vars.minimise(cost).using(highs).set_threads(1);
    model.set_verbose(false);
    for row in rows {
        model.add_constraint(row);
    }
    let answer = model.solve().ok()?;
    Some(energy.iter().map(|row| row.iter().map(|own| answer.value(*own)).collect()).collect())
}
