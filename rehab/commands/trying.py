"""The commands demo and benchmark: invented cities, and how long everything takes."""

from __future__ import annotations

import argparse

import pandas as pd

from rehab.base.errors import BadAssumption


def demo(options: argparse.Namespace) -> int:
    """Write an invented city of any size."""
    from rehab.inputs import demo as city

    if not 1 <= options.blocks <= 200_000:
        raise BadAssumption("the number of blocks is between 1 and 200,000")
    written = city.write(city.invent(options.blocks, options.seed), options.out)
    if options.earlier:
        written.append(city.write_earlier(city.earlier(options.blocks, options.seed), options.out))
    for path in written:
        print(path)
    return 0


def benchmark(options: argparse.Namespace) -> int:
    """Print how long a part of the program takes; without a choice of part, the optimiser beside a general solver."""
    if options.forecast or options.draws or options.panels:
        return _steps(options)
    if options.season:
        return _calendar(options)
    if options.worklist:
        return _taken_away(options)
    from rehab.solvers import compare

    if options.gaps and len(options.gaps) != len(options.blocks):
        raise BadAssumption("give one of --gaps for each of --blocks")
    table = compare.run(options.blocks, options.years, options.seconds, strategies=options.strategies,
                        gaps=options.gaps)
    with pd.option_context("display.width", 250, "display.max_columns", None):
        print(table.to_string(index=False))
        if len(options.blocks) > 1:
            print(compare.growth(table).to_string(index=False))
    return 0


def _calendar(options: argparse.Namespace) -> int:
    """What the search for the calendar of so many blocks finds by when."""
    from rehab.inputs import assumptions
    from rehab.inputs import demo as city
    from rehab.plan import pace

    made = city.invent(max(4 * options.season, 200), 7)
    table = pace.calendar(made.blocks, made.geometry, options.season, options.crews, options.seconds,
                          assumptions.defaults())
    with pd.option_context("display.width", 250, "display.max_columns", None):
        print(table.to_string(index=False))
    return 0


def _taken_away(options: argparse.Namespace) -> int:
    """Seconds and memory of the files of a year of so many blocks: the sheets, the brief, what a GIS opens."""
    from rehab.inputs import assumptions
    from rehab.inputs import demo as city
    from rehab.outputs import pace
    from rehab.solvers.general import peak_mib

    made = city.invent(max(4 * options.worklist, 200), 7)
    table = pace.files(made.blocks, made.defects, made.geometry, options.worklist, assumptions.defaults())
    print(table.to_string(index=False))
    print(f"{peak_mib():,.0f} MiB at most, the city and its plan with it")
    return 0


def _steps(options: argparse.Namespace) -> int:
    """Seconds of forecast, draws or layout, step by step."""
    from rehab.base.tables import STRATEGIES
    from rehab.inputs import assumptions
    from rehab.inputs import demo as city
    from rehab.plan import pace
    from rehab.solvers.general import peak_mib

    used = assumptions.defaults()
    found: list[tuple[str, pd.DataFrame]] = []
    if options.forecast:
        found.append((f"{options.forecast:,} blocks, {len(STRATEGIES)} strategies, {2 * options.years} years",
                      pace.forecasts(options.forecast, 2 * options.years, used)))
    if options.draws:
        found.append((f"{options.draws:,} draws of the program of 1,200 blocks, {options.years} years",
                      pace.draws(city.invent(1200, 7).blocks, options.draws, options.years, used)))
    if options.panels:
        found.append((f"{options.panels:,} panels, {options.defects:,} defects",
                      pace.panel_survey(options.panels, options.defects, used)))
        found.append((f"{max(options.blocks):,} blocks from counts", pace.counts(max(options.blocks), used)))
    for title, table in found:
        print(f"{title}: {table['seconds'].sum():.1f} s, {peak_mib():,.0f} MiB at most")
        print(table.to_string(index=False))
    return 0
