//! What a period cost, by cause, for controllers and bounds beside each other.

use std::fmt::Write;

use optimiser::replay::bound::Bound;
use optimiser::replay::{Ledger, Run, Stage, StoredWorth};

/// Flows of one slot [kWh]; `heat` and `battery` are held at its end.
#[derive(Debug, Clone, Copy, Default)]
pub struct Flow {
    import: f64,
    export: f64,
    charge: f64,
    discharge: f64,
    heaters: f64,
    battery: f64,
    heat: f64,
    unmet: f64,
}

/// A period under one controller, or as a bound has it.
#[derive(Debug, Clone)]
pub struct Account {
    /// Whose it is.
    pub name: String,
    /// Flows of each slot.
    pub flows: Vec<Flow>,
    /// Money of each cause [minor].
    causes: Vec<(&'static str, f64)>,
}

impl Account {
    /// Of a run.
    pub fn of_run(name: &str, stage: &Stage<'_>, run: &Run, worth: StoredWorth) -> Self {
        let slots = stage.horizon().len();
        let flows: Vec<Flow> = (0..slots)
            .map(|slot| {
                let house = &run.outcome.house[slot];
                let stores = run.outcome.stores.iter().map(|trace| trace.slots()[slot]);
                Flow {
                    import: house.import_kwh,
                    export: house.export_kwh,
                    charge: house.charge_kwh,
                    discharge: house.discharge_kwh,
                    heaters: house.heaters_kwh,
                    battery: house.battery_kwh,
                    heat: stores.clone().map(|s| s.stored_kwh).sum(),
                    unmet: stores.map(|s| s.unmet_kwh).sum(),
                }
            })
            .collect();
        let ledger = Ledger::of(stage, run, 0..slots);
        Self::new(name, stage, flows, worth, (ledger.stored_kwh, ledger.battery_kwh))
    }

    /// Of a bound.
    pub fn of_bound(name: &str, stage: &Stage<'_>, bound: &Bound, worth: StoredWorth) -> Self {
        let flows: Vec<Flow> = bound
            .slots
            .iter()
            .map(|slot| Flow {
                import: slot.import,
                export: slot.export,
                charge: slot.charge,
                discharge: slot.discharge,
                heaters: slot.heaters.iter().sum(),
                battery: slot.battery,
                heat: f64::NAN,
                unmet: slot.stores.iter().map(|s| s.unmet).sum(),
            })
            .collect();
        let end = flows.last().map_or(0.0, |f| f.battery);
        let battery = (stage.start().battery.kwh(), end);
        Self::new(name, stage, flows, worth, (bound.stored_kwh, battery))
    }

    fn new(
        name: &str,
        stage: &Stage<'_>,
        flows: Vec<Flow>,
        worth: StoredWorth,
        (heat, battery): ((f64, f64), (f64, f64)),
    ) -> Self {
        let wear = stage.site().battery.map_or(0.0, |b| b.wear.per_kwh());
        let sum = |of: fn(&Flow) -> f64| flows.iter().map(of).sum::<f64>();
        let rated = |price: fn((f64, f64)) -> f64, of: fn(&Flow) -> f64| {
            let slots = flows.iter().enumerate();
            slots
                .map(|(slot, flow)| {
                    let (import, export) = stage.usual_prices(slot);
                    of(flow) * price((import.per_kwh(), export.per_kwh()))
                })
                .sum::<f64>()
        };
        let import = rated(|p| p.0, |f| f.import);
        let export = rated(|p| p.1, |f| f.export);
        let ends = [(heat.1 - heat.0) * worth.heat, (battery.1 - battery.0) * worth.battery];
        let causes = vec![
            ("import, kWh", sum(|f| f.import)),
            ("export, kWh", sum(|f| f.export)),
            ("both ways in a slot, kWh", sum(|f| f.import.min(f.export))),
            ("charged, kWh", sum(|f| f.charge)),
            ("discharged, kWh", sum(|f| f.discharge)),
            ("heaters, kWh", sum(|f| f.heaters)),
            ("heat left less at start, kWh", heat.1 - heat.0),
            ("charge left less at start, kWh", battery.1 - battery.0),
            ("unmet, kWh", sum(|f| f.unmet)),
            ("import paid", import),
            ("export earned", -export),
            ("wear", wear * sum(|f| f.discharge)),
            ("worth of heat left", -ends[0]),
            ("worth of charge left", -ends[1]),
            ("cost", import - export + wear * sum(|f| f.discharge) - ends[0] - ends[1]),
        ];
        Self { name: name.to_owned(), flows, causes }
    }
}

/// Accounts as a table, causes down and accounts across.
pub fn table(accounts: &[Account]) -> String {
    let mut text = format!("{:32}", "");
    for account in accounts {
        let _ = write!(text, "{:>10}", account.name);
    }
    let causes = accounts.first().map_or(0, |account| account.causes.len());
    for cause in 0..causes {
        let _ = write!(text, "\n{:32}", accounts[0].causes[cause].0);
        for account in accounts {
            let _ = write!(text, "{:10.2}", account.causes[cause].1);
        }
    }
    text
}

/// Accounts slot by slot, as CSV.
pub fn slots(stage: &Stage<'_>, accounts: &[Account]) -> String {
    let record = stage.timeline().record();
    let first = stage.timeline().judged().start;
    let mut text = "start,import_price,pv,base,drawn_l".to_owned();
    for account in accounts {
        for column in ["imp", "exp", "chg", "dis", "heat", "batt", "stored", "unmet", "paid"] {
            let _ = write!(text, ",{}_{column}", account.name);
        }
    }
    for (slot, span) in stage.horizon().slots().iter().enumerate() {
        let (import, export) = stage.usual_prices(slot);
        let drawn: f64 = record
            .draws
            .iter()
            .filter(|d| span.start() <= d.start && d.start < span.end())
            .map(|d| d.volume.litres())
            .sum();
        let _ = write!(
            text,
            "\n{},{:.2},{:.3},{:.3},{drawn:.0}",
            span.start(),
            import.per_kwh(),
            record.pv[first + slot].kwh(),
            record.base_load[first + slot].kwh(),
        );
        for account in accounts {
            let f = account.flows[slot];
            let paid = f.import * import.per_kwh() - f.export * export.per_kwh();
            let _ = write!(
                text,
                ",{:.3},{:.3},{:.3},{:.3},{:.3},{:.3},{:.3},{:.3},{paid:.3}",
                f.import, f.export, f.charge, f.discharge, f.heaters, f.battery, f.heat, f.unmet,
            );
        }
    }
    text
}
