//! From a recipe to a plan whose balances hold.

use super::*;

impl Recipe<'_> {
    pub(super) fn cook(&self) -> Sample {
        let start = Instant::from_unix(self.start);
        let horizon = Horizon::regular(start, self.seconds, self.count).expect("slots");
        let hours = self.seconds as f64 / 3_600.0;
        let at = |slot: usize| slot as f64 * hours;
        let price = |slot: usize| {
            let step = 24.0 / self.prices.len() as f64;
            let base = self.prices[(at(slot) / step) as usize % self.prices.len()];
            base + if base < 0.0 { 0.0 } else { f64::from(slot as u32 % 3) * 0.3 }
        };
        let pv = |slot: usize| {
            let day = (at(slot) - self.sunrise).rem_euclid(24.0) / 13.0;
            let cloud = [1.0, 0.93, 1.0, 0.78, 0.97][slot % 5];
            self.pv_kwp * 0.8 * (4.0 * day * (1.0 - day)).max(0.0) * cloud * hours
        };
        let base = |slot: usize| {
            [0.3, 0.25, 0.6, 0.4, 0.35, 0.9, 0.5][(at(slot) / 2.0) as usize % 7] * hours
        };
        let series = |f: &dyn Fn(usize) -> f64| -> Vec<f64> { (0..self.count).map(f).collect() };
        let export = |slot: usize| price(slot) * self.export_share;
        let prices = |v: Vec<f64>| {
            Series::new("prices", &horizon, v.into_iter().map(Price::clamped).collect())
                .expect("fits")
        };
        let energies = |v: Vec<f64>| {
            Series::new("energies", &horizon, v.into_iter().map(Energy::clamped).collect())
                .expect("fits")
        };
        let import_price = prices(series(&price));
        let problem = Problem {
            site: Site {
                grid: Grid {
                    import_limit: Power::constant(8.0),
                    export_limit: Power::constant(2.0),
                },
                battery: self.battery,
                stores: self.stores.clone(),
                plant_room: PlantRoom::default(),
            },
            export_price: prices(series(&export)),
            pv: energies(series(&pv)),
            base_load: energies(series(&base)),
            draws: self
                .draws
                .iter()
                .map(|&(store, hour, litres)| Draw {
                    store,
                    start: start + (hour * 3_600.0) as i64,
                    volume: Volume::clamped(litres),
                    temperature: Temperature::constant(40.0),
                    flow: Flow::constant(8.0),
                })
                .collect(),
            ready: self
                .ready
                .iter()
                .map(|&(store, hour, litres)| Ready {
                    store,
                    by: start + (hour * 3_600.0) as i64,
                    volume: Volume::clamped(litres),
                    temperature: Temperature::constant(40.0),
                    urgency: 1.0,
                })
                .collect(),
            hygiene: self
                .hygiene_in_hours
                .iter()
                .map(|&(due, _)| Hygiene {
                    store: 0,
                    due: start + (due * 3_600.0) as i64,
                    temperature: Temperature::constant(60.0),
                    hold_seconds: 3_600,
                })
                .collect(),
            ambient: Ambient::default(),
            comfort: Comfort::default(),
            state: State {
                battery: Energy::constant(3.0),
                stores: Vec::new(),
                plant_room: PlantRoomState::default(),
            },
            end_value: EndValue::default(),
            weights: Weights::for_prices(&import_price),
            import_price,
            horizon,
            by_hand: Vec::new(),
            published: None,
        };
        self.run(problem)
    }

    fn run(&self, mut problem: Problem) -> Sample {
        let stores = problem.site.stores.clone();
        let mut tanks: Vec<Tank<'_>> =
            stores.iter().map(|store| Tank::new(store, 52.0, 6)).collect();
        problem.state.stores = tanks.iter().map(Tank::temperatures).collect();
        let mut level = if self.battery.is_some() { 3.0 } else { 0.0 };
        let mut slots = Vec::new();
        for index in 0..self.count {
            let slot = self.slot(&problem, index, &mut tanks, &mut level);
            slots.push(slot);
        }
        let sum = |f: &dyn Fn(&SlotPlan) -> f64| slots.iter().map(f).sum::<f64>();
        let unmet_kwh = sum(&|s| s.stores.iter().map(|store| store.unmet_kwh).sum());
        let schedule = Schedule {
            origin: self.origin,
            evidence: self.evidence,
            cost: Cost {
                import: sum(&|s| s.import.cost_at(s.import_price)),
                export_income: sum(&|s| s.export.cost_at(s.export_price)),
                wear: sum(&|s| s.discharge.kwh() * 2.0),
                fuel: 0.0,
                end_value: slots
                    .last()
                    .map_or(0.0, |s| s.stores.iter().map(|t| t.stored.kwh()).sum::<f64>() * 9.0),
            },
            unmet_kwh,
            unmet_litres: unmet_kwh / (30.0 * 1.163e-3),
            short_kwh: 0.0,
            hygiene: self
                .hygiene_in_hours
                .iter()
                .map(|&(_, starts)| {
                    starts.map(|hour| problem.horizon.start() + (hour * 3_600.0) as i64)
                })
                .collect(),
            slots,
        };
        let published_until = problem.horizon.start() + self.published as i64 * self.seconds;
        Sample { house: self.house(&problem), problem, schedule, published_until }
    }

    fn slot(
        &self,
        problem: &Problem,
        index: usize,
        tanks: &mut [Tank<'_>],
        level: &mut f64,
    ) -> SlotPlan {
        let slot = problem.horizon.slots()[index];
        let hours = slot.hours();
        let since = slot.start().hours_since(problem.horizon.start());
        let import_price = problem.import_price[index];
        let export_price = problem.export_price[index];
        let pv = problem.pv[index].kwh();
        let base = problem.base_load[index].kwh();
        let mut sun = (pv - base).max(0.0);
        let mut import = (base - pv).max(0.0);
        let mut discharge = 0.0;
        let may = |level: f64| ((level - 0.5).max(0.0) * 0.95).min(3.6 * hours);
        if self.battery.is_some() && import_price.per_kwh() > 15.0 {
            discharge = import.min(may(*level));
            import -= discharge;
        }
        let mut heaters = Vec::new();
        for (number, id) in problem.heaters().enumerate() {
            let heat = self
                .heats
                .iter()
                .find(|h| h.element == number && h.from <= since && since < h.until);
            let room = tanks[id.store].room(id.element);
            let energy = heat.map_or(0.0, |h| (h.kw * hours).min(room));
            let from_pv = energy.min(sun);
            sun -= from_pv;
            let mut from_battery = 0.0;
            if heat.is_some_and(|h| matches!((h.why)(slot.start()), Reason::Battery)) {
                from_battery = (energy - from_pv).min(may(*level) - discharge).max(0.0);
                discharge += from_battery;
            }
            let from_grid = energy - from_pv - from_battery;
            import += from_grid;
            tanks[id.store].heat(id.element, energy);
            let why = match heat {
                Some(heat) if energy >= 0.005 => (heat.why)(problem.horizon.start()),
                _ if room < 0.2 => Reason::Full,
                _ => self.waiting(problem, index, number),
            };
            heaters.push(heater(
                id,
                heat.map_or(0.0, |h| h.kw),
                energy,
                from_pv,
                from_battery,
                from_grid,
                why,
            ));
        }
        let mut charge = 0.0;
        if let Some(battery) = &self.battery {
            let room = (battery.capacity.kwh() - *level).max(0.0) / 0.95;
            charge = sun.min(room).min(3.6 * hours);
            sun -= charge;
            if import_price.per_kwh() < 0.0 && discharge < 1e-9 {
                let more = (room - charge).min(3.0 * hours).max(0.0);
                charge += more;
                import += more;
            }
            if charge > 0.0 && discharge > 0.0 {
                sun += charge;
                charge = 0.0;
            }
            *level += charge * 0.95 - discharge / 0.95;
        }
        // One meter: what is left of the sun first replaces import.
        let netted = sun.min(import);
        let (sun, import) = (sun - netted, import - netted);
        let export = if export_price.per_kwh() < 0.0 { 0.0 } else { sun.min(2.0 * hours) };
        let curtailed = sun - export;
        let mut unmet = vec![0.0; tanks.len()];
        for draw in problem.draws.iter().filter(|draw| slot.contains(draw.start)) {
            unmet[draw.store] += tanks[draw.store].draw(draw.volume.litres());
        }
        for tank in tanks.iter_mut() {
            tank.cool(hours);
        }
        let value = if self.origin == Origin::Rule { 0.0 } else { 9.0 + 0.1 * (index % 24) as f64 };
        SlotPlan {
            slot,
            import_price,
            export_price,
            import: Energy::clamped(import),
            export: Energy::clamped(export),
            swing: Energy::constant(0.0),
            pv: Energy::clamped(pv - curtailed),
            curtailed: Energy::clamped(curtailed),
            base_load: Energy::clamped(base),
            charge: Energy::clamped(charge),
            discharge: Energy::clamped(discharge),
            battery: Energy::clamped(*level),
            battery_mode: self.battery.map(|_| mode(import_price)),
            electricity_value: if export > 0.0 { export_price } else { import_price },
            heaters,
            stores: tanks.iter().zip(unmet).map(|(tank, unmet)| tank.plan(unmet, value)).collect(),
            circulation: Energy::constant(0.0),
            jobs: Vec::new(),
            told: Vec::new(),
            plant_room: PlantRoomPlan::default(),
        }
    }

    /// The next slot in which the element is on, if it is cheaper.
    fn waiting(&self, problem: &Problem, index: usize, number: usize) -> Reason {
        let now = problem.horizon.start();
        let since = problem.horizon.slots()[index].start().hours_since(now);
        let starts =
            self.heats.iter().filter(|h| h.element == number && h.from > since).map(|h| h.from);
        let next = starts.fold(f64::INFINITY, f64::min);
        let then = now + (next.min(1e6) * 3_600.0) as i64;
        match problem.horizon.index_at(then) {
            Some(later) if problem.import_price[later] < problem.import_price[index] => {
                Reason::CheaperAt(then)
            }
            _ => Reason::NotNeeded,
        }
    }

    fn house(&self, problem: &Problem) -> House {
        let rates = || Rates::Bands(Vec::new());
        House {
            name: self.name.to_owned(),
            time_zone: self.zone,
            series_marks: crate::series::Marks::AsNamed,
            location: None,
            site: problem.site.clone(),
            supply: Supply { fuse: Current::constant(60.0), phases: 1, volts: 230.0 },
            tariff: Tariff {
                currency: self.currency.to_owned(),
                import: rates(),
                export: rates(),
                standing_charge_per_day: 0.0,
                published_at: chrono::NaiveTime::MIN,
            },
            pv: None,
            base_load: BaseLoad::Daily(vec![(NaiveTime::MIN, Power::constant(0.3))]),
            draws: Vec::new(),
            ready: Vec::new(),
            hygiene: Vec::new(),
            cold_water: Vec::new(),
            plant_room: PlantRoomFacts::default(),
            state: PresentState {
                plant_room: PlantRoomState::default(),
                battery: problem.state.battery,
                stores: problem.state.stores.clone(),
            },
        }
    }
}

fn heater(
    id: HeaterId,
    kw: f64,
    energy: f64,
    pv: f64,
    battery: f64,
    grid: f64,
    why: Reason,
) -> HeaterPlan {
    HeaterPlan {
        id,
        power: Power::clamped(if energy > 0.0 { kw } else { 0.0 }),
        minutes: if energy > 0.0 { energy / kw * 60.0 } else { 0.0 },
        delay_minutes: 0.0,
        energy: Energy::clamped(energy),
        pv: Energy::clamped(pv),
        battery: Energy::clamped(battery),
        grid: Energy::clamped(grid),
        why,
    }
}

fn mode(import: Price) -> BatteryMode {
    match import.per_kwh() {
        price if price < 0.0 => BatteryMode::Charge,
        price if price < 8.0 => BatteryMode::Hold,
        _ => BatteryMode::Follow,
    }
}
