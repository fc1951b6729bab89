"""Compares the simulated tank with an independent integration by scipy.

Reads the cases that `cargo run --release -p stowheat-tests --example tank_cases`
prints, integrates the same layers with a stiff solver and fails if any layer
differs by more than 0.05 K at any sample.

Equations: node balance of a stratified tank as in Duffie and Beckman, Solar
Engineering of Thermal Processes, storage chapter (from memory). Buoyancy is a
large exchange between a layer and a colder one above it; ours removes the
inversion outright. Solver: scipy.integrate.solve_ivp, method BDF.
"""

import json
import math
import sys

import numpy as np
from scipy.integrate import solve_ivp

LIMIT_K = 0.05
KWH_PER_LITRE_KELVIN = 1.163e-3
# Exchange that lets a 3 kW source stand at most some millikelvin above the
# layer over it [kW/K].
BUOYANCY_KW_PER_K = 1000.0


def equations(case):
    """Right-hand side [K/h] and its Jacobian."""
    n = len(case["start_c"])
    layer_litres = case["litres"] / n
    capacity = layer_litres * KWH_PER_LITRE_KELVIN
    section = case["litres"] / 1000 / case["height_m"]
    side = 2 * math.sqrt(math.pi * section) * case["height_m"]
    surface = np.full(n, side / n)
    surface[0] += section
    surface[-1] += section
    loss = case["loss_w_per_k"] / 1000 * surface / surface.sum()
    link = case["conductivity_w_per_mk"] / 1000 * section / (case["height_m"] / n)
    flow = case["flow_litres_per_minute"] * 60 * KWH_PER_LITRE_KELVIN
    heat = np.zeros(n)
    heat[case["heated_layer"]] = case["heat_kw"]

    def links(t):
        return link + BUOYANCY_KW_PER_K * (t[:-1] > t[1:])

    def rate(_, t):
        up = links(t) * (t[:-1] - t[1:])
        gain = heat - loss * (t - case["surroundings_c"])
        gain[:-1] -= up
        gain[1:] += up
        gain -= flow * (t - np.concatenate(([case["entering_c"]], t[:-1])))
        return gain / capacity

    def jacobian(_, t):
        k = links(t)
        main = -loss - flow
        main[:-1] -= k
        main[1:] -= k
        return (np.diag(main) + np.diag(k, 1) + np.diag(k + flow, -1)) / capacity

    return rate, jacobian


def worst(case):
    """Largest difference of a layer at any sample [K]."""
    rate, jacobian = equations(case)
    hours = case["sample_seconds"] / 3600
    times = hours * np.arange(1, len(case["samples_c"]) + 1)
    solution = solve_ivp(
        rate,
        (0, times[-1]),
        case["start_c"],
        method="BDF",
        jac=jacobian,
        t_eval=times,
        rtol=1e-9,
        atol=1e-9,
    )
    if not solution.success:
        raise RuntimeError(solution.message)
    return np.abs(solution.y.T - np.array(case["samples_c"])).max()


def main():
    with open(sys.argv[1]) if len(sys.argv) > 1 else sys.stdin as file:
        cases = json.load(file)["cases"]
    differences = []
    for number, case in enumerate(cases):
        differences.append(worst(case))
        print(
            f"case {number}: {len(case['start_c'])} layers, {case['heat_kw']:.2f} kW,"
            f" {case['flow_litres_per_minute']:.2f} L/min: {differences[-1]:.4f} K"
        )
    print(f"largest difference {max(differences):.4f} K, allowed {LIMIT_K} K")
    return 0 if cases and max(differences) <= LIMIT_K else 1


if __name__ == "__main__":
    sys.exit(main())
