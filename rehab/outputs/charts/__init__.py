"""Tables to charts, each with a ``describe_`` twin: the same in one sentence, for those who do not see it.

Colours never stand alone: bars have hatches, lines have dashes and markers.
"""

from rehab.outputs.charts.bids import bid_chart, describe_bids
from rehab.outputs.charts.block import block_chart, cost_chart, describe_block, describe_cost
from rehab.outputs.charts.network import (
    MEASURES,
    condition_chart,
    describe_condition,
    describe_grinding,
    describe_program,
    grinding_chart,
    program_chart,
)
from rehab.outputs.charts.scenarios import SCENARIO_MEASURES, describe_scenarios, scenario_chart
from rehab.outputs.charts.season import describe_season, season_chart

__all__ = [
    "MEASURES", "SCENARIO_MEASURES", "bid_chart", "block_chart", "condition_chart", "cost_chart", "describe_bids",
    "describe_block", "describe_condition", "describe_cost", "describe_grinding", "describe_program",
    "describe_scenarios", "describe_season", "grinding_chart", "program_chart", "scenario_chart", "season_chart",
]
