"""Fixtures for all tests: the default assumptions and a small city made of plain rows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader


@pytest.fixture(scope="session")
def defaults() -> Assumptions:
    return reader.defaults()


def make_blocks(*rows: dict[str, Any]) -> pd.DataFrame:
    """Blocks of 300 ft by 36 ft, 20 by 3 panels, 8 in thick, with what the rows say laid over it."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "panel_length_ft": 15.0, "panel_width_ft": 12.0, "thickness_in": 8.0,
             "functional_class": "local", "year_built": 1986, "surveyed_on": "2026-06-01", "dowelled": False,
             "speed_mph": 25.0}
    named = [{"block_id": f"B{number:03d}", **usual, **row} for number, row in enumerate(rows, 1)]
    return tables.with_types("blocks", pd.DataFrame(named))


@pytest.fixture(scope="session")
def blocks() -> Callable[..., pd.DataFrame]:
    return make_blocks
