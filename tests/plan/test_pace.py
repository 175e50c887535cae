"""The benchmark of the repair engineering runs every step on as much as it says; its speed is not tested."""

from rehab.base.settings import Assumptions
from rehab.plan import pace


def test_every_step_is_timed(defaults: Assumptions) -> None:
    table = pace.panel_survey(800, 300, defaults).set_index("step")
    assert table.at["findings", "rows"] == 300 and table.at["needs", "rows"] == 2
    assert table.at["layout", "rows"] > 50 and (table["seconds"] > 0).all()
    counted = pace.counts(20, defaults).set_index("step")
    assert (counted["rows"] == 20).all() and (counted["seconds"] > 0).all()
