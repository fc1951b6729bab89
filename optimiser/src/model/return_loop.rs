//! Secondary return loops: they lose and they mix.
//!
//! While its pump runs, a loop of `UA` takes water from the top zone and brings
//! it back cooler at the height of the return. With `h` the hours run in a slot,
//! `n` the runs that begin in it and `C` the content of the pipe, what the top
//! zone loses is proportional to its warmth, as standing loss is:
//!
//! `d_loop[k] = (UA·h + n·c·C)·(θ_k − T_s)/(V_top·c·(θ_k − θ_{k−1}))`
//!
//! and `F` litres change places between top and return zone:
//! `H[top,k] −= F·(H[top,k]/V_top − H[ret,k]/V_ret)`. The pipe thermostat stops
//! the pump, so no run moves more water than fills the pipe once and what keeps
//! it at the cut-off against the loss.

use crate::problem::Problem;
use crate::time::Slot;
use crate::water::KWH_PER_LITRE_KELVIN;

use super::ladder::Ladder;

/// What the loop of one store does in one slot.
pub(super) struct Circulation {
    /// Heat lost for each kelvin of the top water above the air [kWh/K].
    loss: f64,
    /// Litres that change places.
    moved: f64,
    surroundings: f64,
    top: usize,
}

impl Circulation {
    /// The loop of a store in a slot; `None` without one. Where none runs it does
    /// nothing, but rows name the same columns then.
    pub(super) fn new(
        problem: &Problem,
        ladder: &Ladder,
        store: usize,
        slot: usize,
    ) -> Option<Self> {
        let own = problem.site.stores[store].return_loop?;
        let span = problem.horizon.slots()[slot];
        let runs = problem.ambient.loop_runs.iter().filter(|run| run.store == store);
        let (mut hours, mut starts) = (0.0, 0.0);
        for run in runs {
            let Some(on) = Slot::new(run.start, run.start + run.seconds) else { continue };
            hours += on.overlap_seconds(span) as f64 / 3_600.0;
            let begins = span.start() <= run.start && run.start < span.end();
            starts += f64::from(u8::from(begins));
        }
        let content = own.content.litres() * KWH_PER_LITRE_KELVIN;
        let lost_per_kelvin = own.heat_loss() * hours / 1_000.0;
        let warmest = ladder.temperatures[ladder.rungs()];
        let back = (warmest - own.cut_off.celsius()).max(1.0);
        // What keeps the return at the cut-off carries the loss of the pipe.
        let kept = lost_per_kelvin * (warmest - own.surroundings.celsius()).max(0.0)
            / (KWH_PER_LITRE_KELVIN * back);
        let pumped = own.flow.litres_per_minute() * hours * 60.0;
        let top = ladder.zones() - 1;
        let least = ladder.volumes[top].min(ladder.volumes[ladder.return_zone]);
        Some(Self {
            loss: lost_per_kelvin + starts * content,
            moved: pumped.min(starts * own.content.litres() + kept).min(0.5 * least),
            surroundings: own.surroundings.celsius(),
            top,
        })
    }

    /// What it does to the water of a zone at a rung: zone and rung that the
    /// change is in proportion to, and its share.
    pub(super) fn terms(
        &self,
        ladder: &Ladder,
        zone: usize,
        rung: usize,
    ) -> Vec<(usize, usize, f64)> {
        let mut terms = Vec::new();
        if zone == self.top {
            let warmer = (ladder.temperatures[rung] - self.surroundings).max(0.0);
            let heat = ladder.volumes[zone] * ladder.step_kwh(rung);
            let share = (self.loss * warmer / heat).min(0.5);
            terms.push((zone, rung, -share));
            if rung < ladder.rungs() {
                terms.push((zone, rung + 1, share));
            }
        }
        let back = ladder.return_zone;
        if back != self.top && (zone == self.top || zone == back) {
            let other = if zone == back { self.top } else { back };
            terms.push((zone, rung, -self.moved / ladder.volumes[zone]));
            terms.push((other, rung, self.moved / ladder.volumes[other]));
        }
        terms
    }
}
