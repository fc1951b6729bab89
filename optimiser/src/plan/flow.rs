//! The flow temperature that a job takes, for whoever sets it at the source or at the
//! mixing valve.

use crate::model::{comfortable_buffer, rooms_flow};
use crate::physics::coil::{SPREAD_K, exchanger};
use crate::problem::Problem;
use crate::schedule::{Job, SlotPlan};
use crate::site::{Sink, Source};
use crate::units::Temperature;

/// Flow that passes the heat of a job into its sink at the warmest that it will be in
/// the slot, within the limit of the source; `None` where nobody sets a flow: for the
/// sun, an element, and the unmixed circuit of a pool.
pub fn flow_for(problem: &Problem, slot: usize, plan: &SlotPlan, job: &Job) -> Option<Temperature> {
    let room = &problem.site.plant_room;
    let hottest = match job.route.source {
        Source::HeatPump(index) => room.heat_pumps[index].flow_limit.celsius(),
        Source::Boiler => room.boiler.as_ref()?.flow_limit.celsius(),
        Source::Buffer if job.route.sink == Sink::Rooms => f64::INFINITY,
        Source::Buffer | Source::Collectors | Source::Immersion => return None,
    };
    let kw = 60.0 * job.heat.kwh() / job.minutes.max(1.0);
    let end = plan.plant_room;
    let flow = match job.route.sink {
        Sink::Coil { store, coil } => {
            let top = plan.stores[store].top.celsius();
            problem.site.stores[store].coils[coil].flow_for(kw, top)
        }
        // Its own water is the return.
        Sink::Buffer => {
            let warm = end.buffer.map_or(0.0, Temperature::celsius);
            warm.max(comfortable_buffer(problem, slot)) + SPREAD_K
        }
        Sink::Rooms => rooms_flow(problem, room.rooms.as_ref()?, slot, kw),
        Sink::Pool => {
            let transfer = exchanger(room.pool?.exchanger.kw());
            end.pool?.celsius() + 0.5 * SPREAD_K + kw / transfer.max(1e-3)
        }
    };
    Some(Temperature::clamped(flow.min(hottest)))
}
