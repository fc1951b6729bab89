"""Compares sources and sinks of the plant room with general-purpose libraries.

Reads what `cargo run --release -p stowheat-tests --example plant_room_cases` prints.

Pool: vapour pressures and dew points by CoolProp (IAPWS-95 and humid air of ASHRAE
RP-1485); Smith, Löf and Jones 1994 and ASHRAE as published. Bowen's proportion of
convection to evaporation is compared with the psychrometric constant that follows from
CoolProp's properties of air and water.
Rooms: the network of ISO 13790:2008 annex C (from memory) as a system of equations for
numpy, and its one capacity by the exponential that scipy computes.
Collectors: the operating point by a root finder of scipy.
Heat pumps: a cycle with propane and a compressor of 65 % isentropic efficiency by
CoolProp (common practice, no published source). Ground-source fits follow it; the fits
of air-source field data, frost and fans included, lie below it.
"""

import json
import sys

import numpy as np
from CoolProp.CoolProp import HAPropsSI, PropsSI
from scipy.linalg import expm
from scipy.optimize import brentq

KELVIN = 273.15
ATMOSPHERE = 101_325.0
BOWEN_KPA_PER_K = 0.0646


def saturation_kpa(celsius):
    return PropsSI("P", "T", celsius + KELVIN, "Q", 0, "Water") / 1000


def psychrometric_kpa_per_k(celsius):
    """Heat capacity of air by the latent heat of what it takes up."""
    cp = HAPropsSI("cp", "T", celsius + KELVIN, "P", ATMOSPHERE, "R", 0.5)
    steam, water = (PropsSI("H", "T", celsius + KELVIN, "Q", q, "Water") for q in (1, 0))
    return cp * ATMOSPHERE / 1000 / (0.621_98 * (steam - water))


def pool_terms(case):
    """Loss [kW], and the sum of what makes it, each counted as positive [kW]."""
    water, air, wind = case["water_c"], case["air_c"], case["wind_m_s"] * case["wind_share"]
    vapour = case["humidity"] * saturation_kpa(air)
    if case["equation"].startswith("Smith"):
        # kJ/(h·m²·mmHg).
        transfer = (30.6 + 32.1 * wind) / 3.6 / 0.133_322
    else:
        transfer = 89.0 + 78.2 * wind
    evaporation = transfer * max(saturation_kpa(water) - vapour, 0.0)
    convection = transfer * BOWEN_KPA_PER_K * (water - air)
    dew = HAPropsSI("D", "T", air + KELVIN, "P", ATMOSPHERE, "R", case["humidity"]) - KELVIN
    emissivity = 0.711 + 0.56 * dew / 100 + 0.73 * (dew / 100) ** 2
    sky = 0.5 * ((air + KELVIN) * emissivity**0.25 + air + KELVIN)
    radiation = 0.95 * 5.670_374e-8 * ((water + KELVIN) ** 4 - sky**4)
    uncovered = [evaporation, convection, radiation, -case["absorbed_open"] * case["sun_w_m2"]]
    covered = [
        case["cover_w_per_m2k"] * (water - air),
        -case["absorbed_covered"] * case["sun_w_m2"],
    ]
    share = case["covered"]
    terms = [(1 - share) * term for term in uncovered] + [share * term for term in covered]
    ground = case["ground_w_per_k"] * (water - case["ground_c"]) / 1000
    kilowatts = [term * case["surface_m2"] / 1000 for term in terms] + [ground]
    return sum(kilowatts), sum(abs(term) for term in kilowatts)


def pools(cases):
    """Largest difference as a share of all the flows at the surface."""
    worst = 0.0
    for case in cases:
        loss, gross = pool_terms(case)
        worst = max(worst, abs(loss - case["loss_kw"]) / gross)
    return worst


def room_error(case):
    """Largest difference of mass and air in a day [K]."""
    floor, loss = case["floor_m2"], case["loss_w_per_k"]
    surface, mass_area = 4.5 * floor, 2.5 * floor
    windows, ventilation = case["window_share"] * loss, case["ventilation_share"] * loss
    to_surface, to_mass = 3.45 * surface, 9.1 * mass_area
    walls = 1 / (1 / (loss - windows - ventilation) - 1 / to_mass)
    # Unknown: air, surfaces. Known: mass. Their balances are A·x = b + c·mass.
    balances = np.array(
        [
            [ventilation + to_surface, -to_surface],
            [-to_surface, to_surface + windows + to_mass],
        ]
    )
    inverse = np.linalg.inv(balances)
    by_mass = inverse @ np.array([0.0, to_mass])
    mass, worst = case["mass_c"], 0.0
    for step in case["steps"]:
        half = 0.5 * step["gains_w"]
        on_mass = mass_area / surface * half
        on_surface = (1 - mass_area / surface - windows / (9.1 * surface)) * half
        outdoor = step["outdoor_c"]
        fixed = inverse @ np.array(
            [
                ventilation * outdoor + half + step["heat_w"],
                windows * outdoor + on_surface,
            ]
        )
        # capacity · dm/dt = -drain · m + source.
        drain = to_mass * (1 - by_mass[1]) + walls
        source = to_mass * fixed[1] + walls * outdoor + on_mass
        capacity, hours = case["capacity_wh_per_k"], case["hours"]
        # The third row integrates the mass, for its mean over the step.
        system = np.array(
            [[-drain / capacity, source / capacity, 0.0], [0.0] * 3, [1.0, 0.0, 0.0]]
        )
        end = expm(system * hours) @ np.array([mass, 1.0, 0.0])
        air = by_mass[0] * end[2] / hours + fixed[0]
        stored = capacity * (step["mass_c"] - case.get("_mass", case["mass_c"])) / hours
        balance = step["heat_w"] + step["gains_w"] - step["lost_w"] - stored
        if abs(balance) > 1e-6 * (1 + step["heat_w"] + step["gains_w"] + abs(stored)):
            raise RuntimeError(f"the rooms' energy balance is off by {balance} W")
        case["_mass"] = step["mass_c"]
        worst = max(worst, abs(end[0] - step["mass_c"]), abs(air - step["air_c"]))
        mass = end[0]
    return worst


def collector_error(case):
    """Difference of the heat [kW] and of stagnation [K]."""
    area, sun, air = case["area_m2"], case["sun_w_m2"], case["air_c"]

    def gain(fluid):
        kelvin = fluid - air
        quadratic = case["a2"] * kelvin * max(kelvin, 0.0)
        return area / 1000 * (case["eta0"] * sun - case["a1"] * kelvin - quadratic)

    passed = case["conductance_kw_per_k"]
    sink = case["sink_c"]
    fluid = brentq(lambda t: gain(t) - passed * (t - sink), -200, 400, xtol=1e-12)
    stagnation = brentq(gain, -50, 400, xtol=1e-12)
    return max(abs(gain(fluid) - case["heat_kw"]), abs(stagnation - case["stagnation_c"]))


def cycle_cop(source, flow):
    """Heating COP of a propane cycle; pinch, superheat and subcooling as usual."""
    evaporating, condensing = source - 6 + KELVIN, flow + 3 + KELVIN
    low = PropsSI("P", "T", evaporating, "Q", 1, "Propane")
    high = PropsSI("P", "T", condensing, "Q", 0, "Propane")
    inlet = ("P", low, "T", evaporating + 5)
    enthalpy = PropsSI("H", *inlet, "Propane")
    ideal = PropsSI("H", "P", high, "S", PropsSI("S", *inlet, "Propane"), "Propane")
    discharge = enthalpy + (ideal - enthalpy) / 0.65
    liquid = PropsSI("H", "P", high, "T", condensing - 3, "Propane")
    return (discharge - liquid) / (discharge - enthalpy)


def cop_ratios(cases):
    """COP of each fit by that of the cycle."""
    rows = []
    for case in cases:
        cycle = cycle_cop(case["source_c"], case["flow_c"])
        rows.append((case["cop_of_air"] / cycle, case["cop_of_ground"] / cycle))
    return np.array(rows)


def main():
    with open(sys.argv[1]) if len(sys.argv) > 1 else sys.stdin as file:
        cases = json.load(file)
    ratios = cop_ratios(cases["heat_pumps"])
    air, ground = ratios[:, 0], ratios[:, 1]
    checks = [
        ("pools, share of all flows", pools(cases["pools"]), 0.005),
        ("Bowen's proportion, share", abs(BOWEN_KPA_PER_K / psychrometric_kpa_per_k(20) - 1), 0.06),
        ("rooms [K]", max(map(room_error, cases["rooms"])), 0.02),
        ("collectors [kW, K]", max(map(collector_error, cases["collectors"])), 1e-6),
        ("ground-source COP off the cycle", np.abs(ground - 1).max(), 0.15),
        ("air-source COP off 0.8 of the cycle", np.abs(air - 0.8).max(), 0.15),
    ]
    for what, worst, limit in checks:
        print(f"{what}: {worst:.2g}, allowed {limit}")
    counted = all(len(cases[kind]) >= 100 for kind in ("pools", "rooms", "collectors"))
    return 0 if counted and all(worst <= limit for _, worst, limit in checks) else 1


if __name__ == "__main__":
    sys.exit(main())
