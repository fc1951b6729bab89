#!/usr/bin/env python3
"""Compares the PV chain with pvlib at random places, instants and planes.

Reads the JSON that `cargo run --release -p stowheat-tests --example pv_samples`
writes, from the file named or from standard input. Needs pvlib from PyPI
(written against 0.16.1). Ends with 1 if any figure is out of tolerance.

Each stage is given the same input on both sides: the plane of array starts from
the sun's place as the optimiser gave it, so that a difference is seen where it
arises. The sun itself is compared by the angle between two directions, since
the azimuth alone has no meaning near the zenith.
"""

import json
import sys

import numpy as np
import pandas as pd
import pvlib

# Largest difference accepted, and its unit.
TOLERANCES = {
    "direction": (0.01, "deg"),
    "apparent_zenith": (0.01, "deg"),
    "dni_extra": (1e-6, "W/m2"),
    "air_mass": (1e-9, ""),
    "isotropic": (1e-6, "W/m2"),
    "hay_davies": (1e-6, "W/m2"),
    "perez": (1e-6, "W/m2"),
    "cell": (1e-6, "degC"),
    "dc_w": (1e-6, "W"),
    "losses_percent": (1e-9, "%"),
    "ac_w": (1e-6, "W"),
}
FEWEST_SAMPLES = 500
FEWEST_BY_DAY = 200


def sun(samples):
    """The sun by pvlib's SPA, one call for each place."""
    rows = [
        pvlib.solarposition.get_solarposition(
            pd.DatetimeIndex([pd.Timestamp(row.unix, unit="s", tz="UTC")]),
            row.latitude,
            row.longitude,
            altitude=row.altitude_m,
        ).iloc[0]
        for row in samples.itertuples()
    ]
    return pd.DataFrame(rows).reset_index(drop=True)


def angle_between(zenith, azimuth, other_zenith, other_azimuth):
    """Angle between two directions, by the haversine, in degrees."""
    z, a, y, b = map(np.radians, (zenith, azimuth, other_zenith, other_azimuth))
    square = np.sin((z - y) / 2) ** 2 + np.sin(z) * np.sin(y) * np.sin((a - b) / 2) ** 2
    return np.degrees(2 * np.arcsin(np.sqrt(square)))


def main():
    source = open(sys.argv[1], encoding="utf-8") if len(sys.argv) > 1 else sys.stdin
    with source:
        raw = json.load(source)
    samples = pd.DataFrame([{k: v for k, v in row.items() if k != "ours"} for row in raw])
    ours = pd.DataFrame([row["ours"] for row in raw])
    theirs = pd.DataFrame(index=ours.index)
    difference = {}

    spa = sun(samples)
    difference["direction"] = angle_between(ours.zenith, ours.azimuth, spa.zenith, spa.azimuth)
    # Refraction is switched on at one height of the sun; within the tolerance of
    # that height the two sides may stand on different sides of the step.
    on_the_step = (spa.zenith - (90 + 0.26667 + 0.5667)).abs() < 0.01
    difference["apparent_zenith"] = (ours.apparent_zenith - spa.apparent_zenith).abs()[~on_the_step]

    times = pd.DatetimeIndex(pd.to_datetime(samples.unix, unit="s", utc=True))
    theirs["dni_extra"] = np.asarray(pvlib.irradiance.get_extra_radiation(times, method="spencer"))
    theirs["air_mass"] = pvlib.atmosphere.get_relative_airmass(ours.apparent_zenith)
    for name, model in [("isotropic", "isotropic"), ("hay_davies", "haydavies"), ("perez", "perez")]:
        theirs[name] = pvlib.irradiance.get_total_irradiance(
            samples.tilt,
            samples.surface_azimuth,
            ours.apparent_zenith,
            ours.azimuth,
            samples.dni,
            samples.ghi,
            samples.dhi,
            dni_extra=ours.dni_extra,
            airmass=theirs.air_mass,
            albedo=samples.albedo,
            model=model,
            model_perez="allsitescomposite1990",
        )["poa_global"]
    theirs["cell"] = pvlib.temperature.faiman(ours.hay_davies, samples.air, samples.wind)
    theirs["dc_w"] = pvlib.pvsystem.pvwatts_dc(
        ours.hay_davies, ours.cell, samples.peak_w, samples.coefficient
    )
    theirs["losses_percent"] = pvlib.pvsystem.pvwatts_losses()
    theirs["ac_w"] = pvlib.inverter.pvwatts(
        ours.dc_w * (1 - theirs.losses_percent / 100), samples.limit_w / 0.96
    )

    # Light is compared where the sun is up; below the horizon pvlib leaves the
    # air mass, and with it Perez, without a value.
    by_day = ours.apparent_zenith < 90
    for name in theirs.columns:
        rows = by_day if name in ("air_mass", "isotropic", "hay_davies", "perez") else slice(None)
        difference[name] = (ours[name] - theirs[name]).abs()[rows]

    failed = False
    if len(raw) < FEWEST_SAMPLES or by_day.sum() < FEWEST_BY_DAY:
        print(f"too few samples: {len(raw)}, of which {by_day.sum()} by day")
        failed = True
    print(f"pvlib {pvlib.__version__}, {len(raw)} samples, {by_day.sum()} by day")
    for name, (tolerance, unit) in TOLERANCES.items():
        values = difference[name]
        largest = values.max()
        good = bool(values.notna().all()) and largest <= tolerance
        failed |= not good
        verdict = "ok" if good else f"FAILED at sample {values.idxmax()}"
        print(f"{name:16} largest {largest:.3g} {unit}, tolerance {tolerance:g}: {verdict}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
