"""The commands calibrate and backtest: several surveys of a city."""

from __future__ import annotations

import argparse

from rehab.base.errors import BadAssumption
from rehab.commands.files import given, say, surveys


def calibrate(options: argparse.Namespace) -> int:
    """Fit the curves to the surveys, and write fit, residuals and values."""
    from rehab.outputs import exports
    from rehab.plan import calibrate as fitting

    used = given(options)
    try:
        made = fitting.refit(surveys(options), used)
    except ValueError as error:
        raise BadAssumption(str(error)) from error
    for name, table in (("calibration", made.rows), ("calibration_fit", made.against), ("residuals", made.residuals),
                        ("set_apart", made.set_apart)):
        exports.write_csv(table, options.out / f"{name}.csv")
    own = {"survival": made.fit.values()} if made.fit else {}
    (options.out / "survival.toml").write_text(exports.values_toml(own), encoding="utf-8")
    for sentence in fitting.sentences(made):
        print(sentence)
    say(made.notes)
    return 0


def backtest(options: argparse.Namespace) -> int:
    """Tell the newest survey from the older ones, and write the errors."""
    import pandas as pd

    from rehab.outputs import exports
    from rehab.plan import backtest as testing

    tables, used = surveys(options), given(options)
    try:
        made = testing.run(tables[:-1], tables[-1], used, options.by)
    except ValueError as error:
        raise BadAssumption(str(error)) from error
    ride, more = testing.ride(tables, used)
    errors = pd.concat([table for table in (made.errors, ride) if len(table)] or [ride], ignore_index=True)
    exports.write_csv(errors, options.out / "backtest.csv")
    exports.write_csv(made.blocks, options.out / "backtest_blocks.csv")
    for sentence in testing.sentences(errors):
        print(sentence)
    say((*made.notes, *more))
    return 0
