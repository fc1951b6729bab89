//! What ran, and which stores were pasteurised.

use std::collections::BTreeMap;

use optimiser::problem::HeaterId;
use optimiser::time::{Instant, Slot};

use crate::house::HygieneRule;
use crate::service::archive::Record;
use crate::service::planning::estimate::Estimate;

/// Runs are kept by the half-hour [s].
const HALF_HOUR_S: i64 = 1_800;

/// A longer gap between two looks is not counted: the machine slept [s].
const MAX_GAP_S: i64 = 300;

/// Energy that heaters were told to use, by the half-hour. What they really used
/// only a meter knows.
#[derive(Debug, Default)]
pub(super) struct RunLedger {
    last: Option<Instant>,
    half_hour: Option<Slot>,
    used: BTreeMap<HeaterId, Told>,
}

/// What a heater was told in a half-hour.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Told {
    /// Energy that it uses by that [kWh].
    pub(super) kwh: f64,
    /// Why, the last time it was on.
    pub(super) why: String,
}

impl RunLedger {
    /// Counts until now; returns what was told in a half-hour that is over.
    pub(super) fn look<'a>(
        &mut self,
        now: Instant,
        told: impl Iterator<Item = (HeaterId, u32, &'a str)>,
    ) -> Option<(Slot, BTreeMap<HeaterId, Told>)> {
        let elapsed = self.last.map_or(0, |last| (now - last).clamp(0, MAX_GAP_S));
        self.last = Some(now);
        for (heater, power_w, why) in told.filter(|(_, power_w, _)| *power_w > 0) {
            let used = self.used.entry(heater).or_default();
            used.kwh += f64::from(power_w) / 1_000.0 * elapsed as f64 / 3_600.0;
            why.clone_into(&mut used.why);
        }
        let edge = Instant::from_unix(now.unix().div_euclid(HALF_HOUR_S) * HALF_HOUR_S);
        let half_hour = Slot::new(edge, edge + HALF_HOUR_S);
        let over = std::mem::replace(&mut self.half_hour, half_hour);
        let slot = over.filter(|_| over != half_hour)?;
        Some((slot, std::mem::take(&mut self.used)))
    }
}

/// Watches for pasteurisations: all of a store hot for long enough, by its probes.
#[derive(Debug)]
pub(super) struct HygieneWatch {
    /// For each rule, since when its store is hot, and the coldest water since.
    hot: Vec<Option<(Instant, f64)>>,
    /// For each rule, when it was last proven.
    pub(super) proven: Vec<Option<Instant>>,
    last: Option<Instant>,
}

impl HygieneWatch {
    /// Starts with what was proven before.
    pub(super) fn new(proven: Vec<Option<Instant>>) -> Self {
        Self { hot: vec![None; proven.len()], proven, last: None }
    }

    /// Looks at the stores; returns the proofs that are complete now. A store that
    /// no probe speaks for is not credited.
    pub(super) fn look(
        &mut self,
        now: Instant,
        rules: &[HygieneRule],
        stores: &[Estimate],
        names: impl Fn(usize) -> String,
    ) -> Vec<Record> {
        let gap = self.last.replace(now).map_or(0, |last| now - last);
        let mut proofs = Vec::new();
        for (i, rule) in rules.iter().enumerate() {
            let estimate = &stores[rule.store];
            let coldest = estimate.profile.iter().copied().fold(f64::INFINITY, f64::min);
            let is_hot = estimate.measured && coldest >= rule.temperature.celsius();
            if !is_hot || !(0..=MAX_GAP_S).contains(&gap) {
                self.hot[i] = is_hot.then_some((now, coldest));
                continue;
            }
            let (since, before) = self.hot[i].unwrap_or((now, coldest));
            let coldest = before.min(coldest);
            self.hot[i] = Some((since, coldest));
            let held_minutes = (now - since) as f64 / 60.0;
            if held_minutes >= rule.hold_minutes {
                self.hot[i] = Some((now, f64::INFINITY));
                self.proven[i] = Some(now);
                proofs.push(Record::Hygiene {
                    store: names(rule.store),
                    proven_at: now,
                    coldest_c: coldest,
                    hold_minutes: held_minutes,
                });
            }
        }
        proofs
    }
}

#[cfg(test)]
mod tests {
    use optimiser::units::Temperature;

    use super::*;
    use optimiser::estimate::LAYERS;

    fn rule() -> HygieneRule {
        HygieneRule {
            store: 0,
            temperature: Temperature::constant(60.0),
            hold_minutes: 60.0,
            every_days: 7.0,
            last_proven: None,
        }
    }

    fn proofs(stores: impl Fn(i64) -> Estimate) -> (Vec<i64>, HygieneWatch) {
        let mut watch = HygieneWatch::new(vec![None]);
        let mut found = Vec::new();
        for minute in 0..120 {
            let now = Instant::from_unix(minute * 60);
            let proven = watch.look(now, &[rule()], &[stores(minute)], |_| "s".into());
            found.extend(proven.iter().map(|_| minute));
        }
        (found, watch)
    }

    #[test]
    fn a_pasteurisation_needs_all_of_the_store_for_the_whole_hold() {
        let hot = Estimate { profile: [61.0; LAYERS], measured: true };
        let mut cold_base = hot;
        cold_base.profile[0] = 55.0;
        let (found, watch) = proofs(|minute| if minute < 10 { cold_base } else { hot });
        assert_eq!(found, [70]);
        assert_eq!(watch.proven, [Some(Instant::from_unix(70 * 60))]);
        assert_eq!(proofs(|_| cold_base).0, [0; 0]);
        let (found, _) = proofs(|minute| if minute == 59 { cold_base } else { hot });
        assert_eq!(found, [0; 0], "interrupted after 59 min, then 60 short of a second hold");
    }

    // C42: without a probe nothing is credited.
    #[test]
    fn a_model_proves_no_pasteurisation() {
        let guessed = Estimate { profile: [70.0; LAYERS], measured: false };
        assert_eq!(proofs(|_| guessed).0, [0; 0]);
    }
}
