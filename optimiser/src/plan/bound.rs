//! How much better any other choice of directions could be, at the most.
//!
//! With the program's multipliers as prices, each slot's electrical node is a
//! problem of its own. The best of all its directions, less what the plan does
//! there, summed over the slots, bounds what is to be gained (Lagrangian
//! duality; the multipliers of one choice are valid prices for every other).

use crate::model::{Col, Formulation};
use crate::problem::Problem;
use crate::solve::Answer;

/// What each slot could gain by another choice of directions [minor].
pub(super) fn possible_gains(
    problem: &Problem,
    formulation: &Formulation,
    answer: &Answer,
) -> Vec<f64> {
    let prices = outside_prices(formulation, answer);
    (0..problem.horizon.len())
        .map(|slot| {
            let node = Node::new(problem, formulation, &prices, slot);
            let planned = node.cost_of(answer);
            (planned - node.best()).max(0.0)
        })
        .collect()
}

/// Cost of each column with every row priced but the nodes and the directions.
fn outside_prices(formulation: &Formulation, answer: &Answer) -> Vec<f64> {
    let program = &formulation.program;
    let mut prices: Vec<f64> = program.columns().iter().map(|c| c.cost).collect();
    let nodes: std::collections::BTreeSet<usize> =
        formulation.node_rows.iter().map(|row| row.0 as usize).collect();
    for (row, dual) in answer.duals.iter().enumerate() {
        if *dual == 0.0 || nodes.contains(&row) || formulation.direction_rows.contains(&row) {
            continue;
        }
        let (indices, values) = program.terms(row);
        for (&column, value) in indices.iter().zip(values) {
            prices[column as usize] -= dual * value;
        }
    }
    prices
}

/// A way into or out of the node: cost of each kWh and the most there can be.
#[derive(Clone, Copy)]
struct Way {
    column: Col,
    /// Energy at the node for each unit of the column [kWh].
    share: f64,
    price: f64,
    most: f64,
}

/// One slot's node by itself.
struct Node {
    base: f64,
    pv: Way,
    import: Way,
    export: Way,
    charge: Option<Way>,
    discharge: Option<Way>,
    heaters: Vec<Way>,
}

impl Node {
    fn new(problem: &Problem, formulation: &Formulation, prices: &[f64], slot: usize) -> Self {
        let columns = &formulation.layout.slots[slot];
        let shared = |column: Col, share: f64| Way {
            column,
            share,
            price: prices[column.0 as usize] / share,
            most: formulation.program.columns()[column.0 as usize].upper * share,
        };
        let way = |column: Col| shared(column, 1.0);
        let elements = columns.heaters.iter().map(|h| way(h.energy));
        let sources = formulation.duties.electricity(columns, slot);
        let sources = sources.filter(|(_, share)| *share > 0.0);
        Self {
            base: problem.base_load[slot].kwh(),
            pv: way(columns.pv),
            import: way(columns.import),
            export: way(columns.export),
            charge: columns.battery.map(|b| way(b.charge)),
            discharge: columns.battery.map(|b| way(b.discharge)),
            heaters: elements.chain(sources.map(|(col, share)| shared(col, share))).collect(),
        }
    }

    fn cost_of(&self, answer: &Answer) -> f64 {
        let fixed = [self.pv, self.import, self.export];
        let ways = fixed.iter().chain(&self.charge).chain(&self.discharge).chain(&self.heaters);
        ways.map(|way| way.price * way.share * answer.values[way.column.0 as usize]).sum()
    }

    /// The least cost over both directions of meter and battery.
    fn best(&self) -> f64 {
        let mut best = f64::INFINITY;
        for meter_in in [true, false] {
            for battery_in in [true, false] {
                let mut sources = vec![self.pv];
                let mut sinks = self.heaters.clone();
                if meter_in {
                    sources.push(self.import);
                } else {
                    sinks.push(self.export);
                }
                if battery_in {
                    sinks.extend(self.charge);
                } else {
                    sources.extend(self.discharge);
                }
                best = best.min(merit_order(sources, sinks, self.base));
            }
        }
        best
    }
}

/// Least cost of serving a load from sources, and of passing on to sinks what
/// is worth it; infinite if the sources do not serve the load.
fn merit_order(mut sources: Vec<Way>, mut sinks: Vec<Way>, load: f64) -> f64 {
    sources.sort_by(|a, b| a.price.total_cmp(&b.price));
    sinks.sort_by(|a, b| a.price.total_cmp(&b.price));
    let mut cost = 0.0;
    let mut due = load;
    let mut sinks = sinks.into_iter();
    let mut sink: Option<Way> = None;
    for source in sources {
        let mut left = source.most;
        let serve = left.min(due);
        cost += serve * source.price;
        due -= serve;
        left -= serve;
        while left > 0.0 {
            let Some(mut open) = sink.take().or_else(|| sinks.next()) else { break };
            if source.price + open.price >= 0.0 {
                sink = Some(open);
                break;
            }
            let pass = left.min(open.most);
            cost += pass * (source.price + open.price);
            left -= pass;
            open.most -= pass;
            sink = (open.most > 0.0).then_some(open);
        }
    }
    if due > 1e-9 { f64::INFINITY } else { cost }
}
