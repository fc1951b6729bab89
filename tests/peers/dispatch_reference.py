"""The dispatch once more, formulated independently.

    python tests/peers/dispatch_reference.py target/peers/dispatch.json

Reads problems with the objectives that stowheat found and solves the same
dispatch in other variables: every kWh goes from a source (grid, PV, battery)
to a sink (house, each element, battery, grid), the water of each zone stands
in exactly one temperature band, elements run for hours at each stage, and
meter and battery have a direction binary in every slot, where stowheat adds
one only where its plain program was seen to need it. The rows are written
from the equations alone. Solver: HiGHS through highspy.

Where the devices together exceed the main fuse, stowheat lets elements run in
turn in the slots where they cannot be arranged beside each other. The objective
must then lie between those without that rule and with it in every slot.
"""

import json
import math
import sys

import highspy
import numpy as np

RELATIVE, ABSOLUTE = 1e-6, 1e-4  # of the objective, and in minor units
WATER = 1.163e-3  # kWh to warm one litre by one kelvin
INF = highspy.kHighsInf


class Matrix:
    """A mixed-integer program that grows by named blocks of columns and rows."""

    def __init__(self):
        self.cost, self.low, self.high, self.integer = [], [], [], []
        self.row_low, self.row_high = [], []
        self.start, self.index, self.value = [0], [], []

    def columns(self, count, cost=0.0, high=INF, integer=False):
        first = len(self.cost)
        for target, item in ((self.cost, cost), (self.low, 0.0), (self.high, high)):
            target.extend(np.broadcast_to(item, count).astype(float).tolist())
        self.integer.extend([integer] * count)
        return np.arange(first, first + count)

    def row(self, terms, low=-INF, high=INF):
        together = {}
        for column, value in terms:
            together[int(column)] = together.get(int(column), 0.0) + float(value)
        self.index.extend(together.keys())
        self.value.extend(together.values())
        self.start.append(len(self.index))
        self.row_low.append(low)
        self.row_high.append(high)

    def loaded(self):
        """The program in a solver of its own."""
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.cost), len(self.row_low)
        lp.col_cost_, lp.col_lower_, lp.col_upper_ = map(
            np.array, (self.cost, self.low, self.high)
        )
        lp.row_lower_, lp.row_upper_ = np.array(self.row_low), np.array(self.row_high)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.array(self.start)
        lp.a_matrix_.index_ = np.array(self.index)
        lp.a_matrix_.value_ = np.array(self.value)
        lp.integrality_ = [
            highspy.HighsVarType.kInteger if i else highspy.HighsVarType.kContinuous
            for i in self.integer
        ]
        solver = highspy.Highs()
        solver.setOptionValue("output_flag", False)
        for option, setting in (
            ("threads", 1), ("mip_rel_gap", 1e-8),
            ("mip_abs_gap", 1e-6), ("time_limit", 120.0), ("mip_feasibility_tolerance", 1e-7),
        ):
            solver.setOptionValue(option, setting)
        solver.passModel(lp)
        return solver

    def solve(self):
        """The least cost, or None where nothing is feasible."""
        solver = self.loaded()
        solver.run()
        status = solver.getModelStatus()
        if status == highspy.HighsModelStatus.kOptimal:
            return solver.getInfo().objective_function_value
        if status in (
            highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible
        ):
            return None
        raise RuntimeError(f"the reference ended with {status}")


class Tank:
    """Zones, rungs and losses of a store, from its dimensions."""

    def __init__(self, store):
        heights = sorted(e["height"] for e in store["elements"])
        edges = [0.0]
        for height in heights:
            # An element within the lowest simulated layer heats all the water.
            if height > 1 / store["simulated_layers"] and height - edges[-1] > 1e-6:
                edges.append(height)
        self.edges = np.array(edges + [1.0])
        shares = np.diff(self.edges)
        self.volume = shares * store["litres"]
        self.zones = len(shares)
        self.rung = np.array(rungs(store))
        self.bands = len(self.rung)
        section = store["litres"] / 1000 / store["height_m"]
        wall = math.sqrt(4 * math.pi * section) * store["height_m"]
        surface = shares * wall
        surface[0] += section
        surface[-1] += section
        self.loss = surface / surface.sum() * store["loss_w_per_k"]
        self.ambient = store["surroundings_c"]
        self.heat = WATER * (self.rung - self.rung[0])
        self.use = max(k for k in range(self.bands) if self.rung[k] <= store["use_c"] + 1e-6)
        self.reach = [
            max(
                k for k in range(self.bands)
                if self.rung[k] <= min(store["ceiling_c"], e["thermostat_c"]) + 1e-6
            )
            for e in store["elements"]
        ]
        self.zone = [
            max(z for z in range(self.zones) if self.edges[z] <= e["height"] + 1e-6)
            for e in store["elements"]
        ]

    def falling(self, hours):
        """Share of each band of each zone that cools into the one below."""
        share = np.zeros((self.zones, self.bands))
        for k in range(1, self.bands):
            warmer = max(self.rung[k] - self.ambient, 0.0)
            lost = self.loss * warmer * hours / 1000
            share[:, k] = np.minimum(lost / (self.volume * WATER * (self.rung[k] - self.rung[k - 1])), 1)
        return share

    def filled(self, layers):
        """Litres in each band of each zone; water between two rungs is split so
        that its heat is kept."""
        litres = np.zeros((self.zones, self.bands))
        edges = np.linspace(0, 1, len(layers) + 1)
        for z in range(self.zones):
            for i, celsius in enumerate(layers):
                shared = min(edges[i + 1], self.edges[z + 1]) - max(edges[i], self.edges[z])
                if shared <= 0:
                    continue
                water = shared * self.volume.sum()
                celsius = min(max(celsius, self.rung[0]), self.rung[-1])
                k = min(int(np.searchsorted(self.rung, celsius, side="right")) - 1, self.bands - 2)
                upper = (celsius - self.rung[k]) / (self.rung[k + 1] - self.rung[k])
                litres[z, k] += water * (1 - upper)
                litres[z, k + 1] += water * upper
        return litres

    def lowest_rung_at(self, celsius):
        return next((k for k in range(1, self.bands) if self.rung[k] >= celsius - 1e-6), None)


def rungs(store):
    """Mains, use, 60 °C or a rung between, the highest reach."""
    cold, use = store["mains_c"], store["use_c"]
    top = max(min(store["ceiling_c"], e["thermostat_c"]) for e in store["elements"])
    if top < 60:
        further = [(use + top) / 2, 60, top]
    elif top - 60 < 2:
        further = [(use + 60) / 2, top]
    else:
        further = [60, top]
    ladder = [cold, use]
    for celsius in further:
        if celsius <= top and celsius - ladder[-1] >= 2:
            ladder.append(celsius)
    return ladder


class Dispatch:
    """All rows of one problem."""

    def __init__(self, problem, holds, in_turn):
        self.p, self.m, self.in_turn = problem, Matrix(), in_turn
        self.seconds = np.array(problem["slot_seconds"])
        self.hours = self.seconds / 3600
        self.ends = np.cumsum(self.seconds)
        self.starts = self.ends - self.seconds
        self.slots = len(self.seconds)
        self.tanks = [Tank(s) for s in problem["stores"]]
        self.elements = [
            (s, i, e)
            for s, store in enumerate(problem["stores"])
            for i, e in enumerate(store["elements"])
        ]
        self.holds = holds
        self.stock = [t.filled(s["layers_c"]) for t, s in zip(self.tanks, problem["stores"])]
        battery = problem["battery"]
        self.level = None
        if battery:
            self.level_now = min(problem["battery_start_kwh"], battery["capacity_kwh"])
        self.demands()
        # Columns of the litres in each band at the end of the slot before.
        self.before = [None] * len(self.tanks)
        self.after = []
        for t in range(self.slots):
            energy = self.electricity(t)
            self.before = [self.water(t, s, energy) for s in range(len(self.tanks))]
            self.after.append(self.before)
        self.promises()
        self.worth_at_end()

    # Electricity.

    def electricity(self, t):
        p, m, hours = self.p, self.m, self.hours[t]
        battery, count = p["battery"], len(self.elements)
        # Every source into every sink: house, elements, battery, grid.
        sinks = count + 3
        house, charge, export = 0, count + 1, count + 2
        grid = m.columns(sinks, p["import_price"][t])
        sun = m.columns(sinks)
        cell = m.columns(sinks, battery["wear_per_kwh"] if battery else 0.0, INF if battery else 0.0)
        into = lambda sink: [(flow[sink], 1.0) for flow in (grid, sun, cell)]
        out = lambda source: [(column, 1.0) for column in source]
        for column in (grid[export], sun[export], cell[export]):
            m.cost[column] -= p["export_price"][t]
        m.row(into(house), p["load_kwh"][t], p["load_kwh"][t])
        m.row(out(grid), high=p["import_kw"] * hours)
        m.row(out(sun), high=p["pv_kwh"][t])
        m.row(into(export), high=p["export_kw"] * hours)

        spare = max(0.0, p["pv_kwh"][t] - p["load_kwh"][t])
        surplus = spare / hours
        meter, swing, resting = [], [], []
        in_turn, room, strongest = [], [], 0.0
        helped = battery["discharge_kw"] * hours if battery else 0.0
        for n, (_, _, element) in enumerate(self.elements):
            energy = into(1 + n)
            if element["control"] == "modulating":
                m.row(energy, high=element["kw"] * hours)
                continue
            # Hours at each stage; what a stage takes beyond the surplus.
            stages = np.array(element["stages_kw"])
            running = m.columns(len(stages))
            m.row([(c, 1.0) for c in running], high=hours)
            m.row(energy + [(c, -kw) for c, kw in zip(running, stages)], 0.0, 0.0)
            meter += [(c, -max(0.0, kw - surplus)) for c, kw in zip(running, stages)]
            if surplus > 0:
                share = max(0.0, 1 - surplus / element["kw"])
                swing += [(c, share * v) for c, v in energy]
                # The surplus is exported only while the element is off.
                if share > 0:
                    resting.append([(c, v * surplus / element["kw"]) for c, v in energy])
            # One that fits beside nothing else stays off in such a slot.
            if p["load_kwh"][t] - p["pv_kwh"][t] - helped + element["kw"] * hours > (
                p["import_kw"] * hours + 1e-9
            ):
                if self.in_turn:
                    m.row(energy, high=0.0)
                continue
            in_turn += [(c, v / element["kw"]) for c, v in energy]
            room += [(c, -v) for c, v in energy]
            strongest = max(strongest, element["kw"])
        if meter:
            feeding = out(cell) if battery and battery["feeds_heaters"] else []
            m.row(out(grid) + feeding + meter, 0.0)
        if self.in_turn and room:
            m.row(in_turn, high=hours)
            m.row(out(grid) + room, high=(p["import_kw"] - strongest) * hours)

        # One meter: the lesser register only counts what switching moves.
        importing = m.columns(1, integer=True, high=1.0)[0]
        back = [(c, -v) for c, v in swing]
        m.row(out(grid) + [(importing, -p["import_kw"] * hours)] + back, high=0.0)
        most = p["export_kw"] * hours
        m.row(into(export) + [(importing, most)] + back, high=most)
        for off in resting:
            m.row(into(export) + [(importing, most)] + off, high=most + spare)
            m.row(out(grid) + [(importing, -p["import_kw"] * hours)] + off, high=spare)
        if p["export_price"][t] > p["import_price"][t]:
            # Nothing is bought to be sold.
            m.row(into(export) + [(c, -v) for c, v in out(cell)], high=spare)

        if battery:
            self.storage(t, battery, into(charge), out(cell), out(sun), into(export))
        else:
            for column, _ in into(charge):
                m.high[column] = 0.0
        self.departure(t, into)
        return [into(1 + n) for n in range(count)]

    def storage(self, t, battery, charge, discharge, sun, export):
        p, m, hours = self.p, self.m, self.hours[t]
        m.row(charge, high=battery["charge_kw"] * hours)
        m.row(discharge, high=battery["discharge_kw"] * hours)
        charging = m.columns(1, integer=True, high=1.0)[0]
        m.row(charge + [(charging, -battery["charge_kw"] * hours)], high=0.0)
        most = battery["discharge_kw"] * hours
        m.row(discharge + [(charging, most)], high=most)
        level = m.columns(1, high=battery["capacity_kwh"])[0]
        m.low[level] = min(battery["reserve_kwh"], p["battery_start_kwh"])
        change = (
            [(level, 1.0)]
            + [(c, -battery["charge_efficiency"] * v) for c, v in charge]
            + [(c, v / battery["discharge_efficiency"]) for c, v in discharge]
        )
        if self.level is None:
            m.row(change, self.level_now, self.level_now)
        else:
            m.row(change + [(self.level, -1.0)], 0.0, 0.0)
        self.level = level
        sunny, load = p["pv_kwh"][t], p["load_kwh"][t]
        negative = lambda terms: [(c, -v) for c, v in terms]
        if not battery["charges_from_grid"]:
            m.row(charge + negative(sun), high=-min(sunny, load))
        if not battery["exports"]:
            m.row(export, high=max(0.0, sunny - load))
        if not battery["feeds_heaters"]:
            m.row(discharge + negative(export), high=max(0.0, load - sunny))

    def departure(self, t, into):
        if self.p["published_kwh"] is None:
            return
        for n, planned in enumerate(self.p["published_kwh"]):
            off = self.m.columns(1, self.p["change_per_kwh"])[0]
            self.m.row(into(1 + n) + [(off, 1.0)], planned[t])
            self.m.row([(c, -v) for c, v in into(1 + n)] + [(off, 1.0)], -planned[t])

    # Heat.

    def demands(self):
        """Heat asked of each store, by the rung it needs and by slot."""
        self.asked = [{} for _ in self.tanks]
        for draw in self.p["draws"]:
            tank = self.tanks[draw["store"]]
            rung = tank.lowest_rung_at(draw["celsius"]) or tank.bands - 1
            heat = WATER * draw["litres"] * (draw["celsius"] - tank.rung[0])
            # A draw too hot for the store is asked for as hot as the store can.
            heat = min(heat, draw["litres"] * tank.heat[-1])
            own = self.asked[draw["store"]].setdefault(rung, np.zeros(self.slots))
            shared = np.minimum(self.ends, draw["end_s"]) - np.maximum(self.starts, draw["start_s"])
            length = draw["end_s"] - draw["start_s"]
            if length > 0:
                own += heat * np.maximum(shared, 0) / length

    def water(self, t, s, energy):
        m, tank, store = self.m, self.tanks[s], self.p["stores"][s]
        zones, bands = tank.zones, tank.bands
        litres = np.array([m.columns(bands, high=v) for v in tank.volume])
        fall = tank.falling(self.hours[t])
        # What a band gains, as columns and as litres known beforehand.
        gain = [[[] for _ in range(bands)] for _ in range(zones)]
        known = np.zeros((zones, bands))
        for z in range(zones):
            for k in range(bands):
                stay, drop = 1 - fall[z, k], fall[z, k]
                if self.before[s] is None:
                    known[z, k] += stay * self.stock[s][z, k]
                    known[z, k - 1 if k else 0] += drop * self.stock[s][z, k]
                else:
                    gain[z][k].append((self.before[s][z, k], stay))
                    if k:
                        gain[z][k - 1].append((self.before[s][z, k], drop))
        move = lambda z, source, target, column: (
            gain[z][source].append((column, -1.0)), gain[z][target].append((column, 1.0))
        )
        # Elements lift water by one rung, at their height and above.
        for n, (own, i, _) in enumerate(self.elements):
            if own != s:
                continue
            heat = [(c, -v) for c, v in energy[n]]
            for z in range(zones):
                if z < tank.zone[i] and not (store["pump"] and self.mixing(t, s)):
                    continue
                for k in range(1, tank.reach[i] + 1):
                    lift = m.columns(1)[0]
                    move(z, k - 1, k, lift)
                    heat.append((lift, tank.heat[k] - tank.heat[k - 1]))
            m.row(heat, 0.0, 0.0)
        # Warmer water changes place with colder water above it.
        for z in range(zones - 1):
            for k in range(1, bands):
                rise = m.columns(1)[0]
                move(z, k, k - 1, rise)
                move(z + 1, k - 1, k, rise)
        self.draw(t, s, tank, zones - 1, gain)
        for z in range(zones):
            for k in range(bands):
                m.row(
                    [(litres[z, k], 1.0)] + [(c, -v) for c, v in gain[z][k]],
                    known[z, k], known[z, k],
                )
        short = m.columns(1, self.p["short_per_kwh"] * self.hours[t])[0]
        kept = tank.heat[tank.use]
        m.row(
            [(c, kept) for c in litres[:, tank.use :].ravel()] + [(short, 1.0)],
            store["held_back_litres"] * kept,
        )
        for hygiene, hold in zip(self.p["hygiene"], self.holds):
            if hold is None or hygiene["store"] != s:
                continue
            first = int(np.searchsorted(self.starts, hold))
            last = int(np.searchsorted(self.ends, hold + hygiene["hold_s"]))
            if max(first - 1, 0) <= t <= last:
                for column in litres[:, : tank.lowest_rung_at(hygiene["celsius"])].ravel():
                    m.high[column] = 0.0
        return litres

    def draw(self, t, s, tank, top, gain):
        m, everything = self.m, []
        for rung, heat in sorted(self.asked[s].items()):
            taken = m.columns(tank.bands - rung)
            cold = m.columns(1, self.p["unmet_per_kwh"])[0]
            m.row(
                [(c, tank.heat[rung + j]) for j, c in enumerate(taken)] + [(cold, 1.0)],
                heat[t], heat[t],
            )
            for j, c in enumerate(taken):
                gain[top][rung + j].append((c, -1.0))
                gain[top][0].append((c, 1.0))
                everything.append((rung + j, c))
        if not everything:
            return
        # Only what was hot when the slot began can be drawn in it.
        for k in range(min(self.asked[s]), tank.bands):
            used = [(c, 1.0) for rung, c in everything if rung >= k]
            if self.before[s] is None:
                m.row(used, high=float(self.stock[s][:, k:].sum()))
            else:
                m.row(used + [(c, -1.0) for c in self.before[s][:, k:].ravel()], high=0.0)

    def mixing(self, t, s):
        """Whether the pump may mix: six hours and the hold before one is due."""
        return any(
            h["store"] == s and h["due_s"] - self.ends[t] <= 6 * 3600 + h["hold_s"]
            for h in self.p["hygiene"]
        )

    def promises(self):
        for ready in self.p["ready"]:
            slot = int(np.searchsorted(self.ends, ready["by_s"], side="right")) - 1
            if slot < 0 or ready["by_s"] > self.ends[-1]:
                continue
            tank = self.tanks[ready["store"]]
            rung = tank.lowest_rung_at(ready["celsius"]) or tank.bands - 1
            litres = self.after[slot][ready["store"]]
            short = self.m.columns(1, self.p["short_per_kwh"])[0]
            terms = [
                (litres[z, k], tank.heat[k])
                for z in range(tank.zones) for k in range(rung, tank.bands)
            ]
            heat = WATER * ready["litres"] * (ready["celsius"] - tank.rung[0])
            self.m.row(terms + [(short, 1.0)], heat)

    def worth_at_end(self):
        m = self.m
        for steps, tank, litres in zip(self.p["store_end_value"], self.tanks, self.after[-1]):
            terms = [(m.columns(1, -s["per_kwh"], s["kwh"])[0], 1.0) for s in steps]
            held = [(litres[z, k], -tank.heat[k]) for z in range(tank.zones) for k in range(tank.bands)]
            m.row(terms + held, high=0.0)
        if self.level is not None:
            floor = min(self.p["battery"]["reserve_kwh"], self.p["battery_start_kwh"])
            terms = [
                (m.columns(1, -s["per_kwh"], s["kwh"])[0], 1.0) for s in self.p["battery_end_value"]
            ]
            m.row(terms + [(self.level, -1.0)], high=-floor)


def judge(case):
    """What is wrong with a case, in words or None, and the relative difference."""
    problem, outcome = case["problem"], case["outcome"]
    holds = case.get("holds_s") or [None] * len(problem["hygiene"])
    least = Dispatch(problem, holds, in_turn=False).m.solve()
    if outcome == "infeasible":
        wrong = None if least is None else f"infeasible here, {least} in the reference"
        return wrong, 0.0, "infeasible"
    if outcome != "planned":
        return f"{outcome}: {case['why']}", 0.0, outcome
    if least is None:
        return "planned here, infeasible in the reference", 0.0, "planned"
    found = case["objective"]
    allowed = max(ABSOLUTE, RELATIVE * abs(least))
    difference = abs(found - least) / max(abs(least), ABSOLUTE / RELATIVE)
    if abs(found - least) <= allowed:
        return None, difference, "equal"
    if found > least and case["origin"] == "limit-reached":
        # Not claimed to be the best; it must only not be better.
        return None, 0.0, "stopped at a limit"
    if found > least and exceeds_fuse(problem):
        most = Dispatch(problem, holds, in_turn=True).m.solve()
        # With the rule in every slot there may be no answer at all.
        if most is None or found <= most + max(ABSOLUTE, RELATIVE * abs(most)):
            return None, 0.0, "between"
    return f"{found} here, {least} in the reference", difference, "planned"


def exceeds_fuse(problem):
    """Whether elements, battery and house together can exceed the import limit."""
    elements = sum(e["kw"] for s in problem["stores"] for e in s["elements"])
    charge = problem["battery"]["charge_kw"] if problem["battery"] else 0.0
    house = max(kwh * 3600 / s for kwh, s in zip(problem["load_kwh"], problem["slot_seconds"]))
    return elements + charge + house > problem["import_kw"]


def main(path):
    with open(path, encoding="utf-8") as file:
        cases = json.load(file)
    worst, kinds, faults = 0.0, {}, 0
    for case in cases:
        try:
            wrong, difference, kind = judge(case)
        except RuntimeError as error:
            wrong, difference, kind = str(error), 0.0, "undecided"
        worst = max(worst, difference)
        kinds[kind] = kinds.get(kind, 0) + 1
        if wrong:
            faults += 1
            print(f"seed {case['seed']}: {wrong}")
    if kinds.get("equal", 0) < 200:
        faults += 1
        print(f"only {kinds.get('equal', 0)} objectives could be compared")
    print("  " + ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())))
    print(f"dispatch: {len(cases)} cases, worst difference {worst:.1e}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
