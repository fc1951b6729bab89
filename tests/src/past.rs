//! Invented weeks at houses with plant rooms, to live through in a closed loop.

use optimiser::forecast::Mark;
use optimiser::problem::{LoopRun, Problem, State};
use optimiser::replay::{Foreknown, LOOK_AHEAD, Record, Surroundings, Timeline};
use optimiser::site::Site;

use crate::plant_rooms::{Kind, random_day};

/// Half-hours that are remembered.
const MEMORY: usize = 7 * 48;

/// A house and what happened there.
#[derive(Debug, Clone)]
pub struct Past {
    /// The house.
    pub site: Site,
    /// State when the judged half-hours begin.
    pub start: State,
    /// Prices, draws, PV and load.
    pub record: Record,
    /// Weather and habits.
    pub around: Surroundings,
}

/// So many half-hours after a week of memory, the same for a seed. Prices are published
/// at one in the afternoon of the day before.
pub fn past(kind: Kind, judged: usize, seed: u64) -> Past {
    let slots = MEMORY + judged + LOOK_AHEAD + 48;
    let mut problem: Problem = random_day(kind, slots, seed);
    let start = problem.horizon.start();
    if kind == Kind::Everything {
        problem.ambient.loop_runs = (0..slots as i64 / 48)
            .flat_map(|day| [(day, 24_300), (day, 64_800)])
            .map(|(day, second)| LoopRun {
                store: 0,
                start: start + day * 86_400 + second,
                seconds: 900,
            })
            .collect();
    }
    let marks = (0..slots).map(|slot| Mark {
        day: (slot / 48) as i32,
        month: 0,
        weekend: matches!(slot / 48 % 7, 5 | 6),
        half_hour: (slot % 48) as u8,
    });
    let record = Record {
        marks: marks.collect(),
        import_price: problem.import_price.values().iter().map(|p| Some(*p)).collect(),
        export_price: problem.export_price.values().iter().map(|p| Some(*p)).collect(),
        published: (0..slots as i64).map(|k| start + (k / 48 * 48 - 22) * 1_800).collect(),
        pv: problem.pv.values().to_vec(),
        base_load: problem.base_load.values().to_vec(),
        draws: problem.draws,
        ready: Vec::new(),
        hygiene: Vec::new(),
        foreknown: Foreknown { base_load: true, ..Foreknown::default() },
        judged: MEMORY..MEMORY + judged,
        mains: problem.site.stores.iter().map(|store| store.mains).collect(),
        horizon: problem.horizon,
    };
    let around = Surroundings {
        ambient: problem.ambient,
        comfort: problem.comfort,
        ..Surroundings::default()
    };
    Past { site: problem.site, start: problem.state, record, around }
}

impl Past {
    /// Ready to be replayed.
    ///
    /// # Panics
    /// Never: the parts fit each other.
    pub fn timeline(&self) -> Timeline {
        let timeline = Timeline::new(self.record.clone()).expect("the parts fit");
        timeline.with_surroundings(self.around.clone())
    }
}
