//! Problems and answers for the independent formulation of the same dispatch,
//! `tests/peers/dispatch_reference.py`, which must reach the same objectives.

use std::path::Path;

use optimiser::plan::{Outcome, Planner};
use optimiser::solve::SolveLimits;
use serde_json::{Value, json};
use stowheat_tests::invention;
use stowheat_tests::record::record;

const CASES: u64 = 240;

#[test]
fn writes_dispatch_cases() {
    // One planner for all, so that starts from an old basis are judged too.
    let mut planner =
        Planner::with_limits(SolveLimits { seconds: 60.0, relative_gap: 1e-9, branches: 2_000 })
            .with_effort(optimiser::judge::Effort::NONE);
    let mut planned = 0;
    let cases: Vec<Value> = (0..CASES)
        .map(|seed| {
            let problem = invention::problem(seed).validated().expect("a valid invention");
            let mut case = json!({"seed": seed, "problem": record(&problem)});
            match planner.plan(&problem) {
                Outcome::Planned(plan) => {
                    planned += 1;
                    let since = |at: optimiser::time::Instant| at - problem.horizon.start();
                    let holds: Vec<_> =
                        plan.schedule.hygiene.iter().map(|h| h.map(since)).collect();
                    case["outcome"] = "planned".into();
                    case["origin"] = plan.schedule.origin.name().into();
                    case["objective"] = plan.solution.objective.into();
                    case["holds_s"] = json!(holds);
                }
                Outcome::Infeasible(missing) => {
                    case["outcome"] = "infeasible".into();
                    case["missing_kwh"] = missing.iter().map(|m| m.kwh).sum::<f64>().into();
                }
                Outcome::Refused(violations) => {
                    case["outcome"] = "refused".into();
                    let first = violations.iter().take(3);
                    case["why"] = first.map(ToString::to_string).collect();
                }
                Outcome::Failed(why) => {
                    case["outcome"] = "failed".into();
                    case["why"] = json!([why]);
                }
            }
            case
        })
        .collect();
    assert!(planned >= 200, "only {planned} of {CASES} inventions have a plan");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/peers");
    std::fs::create_dir_all(&folder).expect("a folder for the cases");
    let file = std::fs::File::create(folder.join("dispatch.json")).expect("a file for the cases");
    serde_json::to_writer(std::io::BufWriter::new(file), &cases).expect("the cases are written");
}
