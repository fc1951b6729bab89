//! The basis that moves on with the slots leads to the same optimum.

use optimiser::model::{Formulation, Refinement};
use optimiser::problem::State;
use optimiser::replay::{Controller, Planning, Settings, SlotCommands, Stage, View};
use optimiser::solve::{Live, SolveLimits, Verdict};

use super::{house, near, record, start, timeline};

/// Heats now and then, and compares a hot with a cold solve of each problem.
struct Comparing {
    planning: Planning,
    live: Option<Live>,
    compared: usize,
}

impl Controller for Comparing {
    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        let problem = self.planning.problem(view).expect("prices are known");
        let problem = problem.validated().expect("a valid problem");
        let program = Formulation::new(&problem, &Refinement::default()).program;
        let limits = SolveLimits::default();
        let cold = Live::new(program.clone()).and_then(|mut l| l.solve(limits)).expect("cold");
        let live = self.live.get_or_insert_with(|| Live::new(program.clone()).expect("loads"));
        let hot = live.load(program).and_then(|()| live.solve(limits)).expect("hot");
        assert_eq!((&hot.verdict, &cold.verdict), (&Verdict::Optimal, &Verdict::Optimal));
        near(hot.objective, cold.objective, 1e-6 * cold.objective.abs().max(1.0));
        self.compared += 1;
        self.planning.command(view)
    }
}

#[test]
fn hot_and_cold_agree_as_time_moves_on() {
    let (site, timeline) = (house(), timeline(record(1)));
    let start: State = start();
    let stage = Stage::new(&site, &timeline, &start).expect("a stage");
    let planning = Planning::new(&site, Settings::default());
    let mut comparing = Comparing { planning, live: None, compared: 0 };
    stage.run(&mut comparing, &mut |_| {});
    assert_eq!(comparing.compared, 48);
}
