"""Tables to charts, each with a ``describe_`` twin: the same in one sentence, for those who do not see it.

Colours never stand alone: bars have hatches, lines have dashes and markers.
"""

from rehab.outputs.charts.bids import bid_chart, describe_bids
from rehab.outputs.charts.block import block_chart, cost_chart, describe_block, describe_cost
from rehab.outputs.charts.calibration import describe_fit, describe_residuals, fit_chart, residual_chart
from rehab.outputs.charts.chances import chance_chart, describe_chances
from rehab.outputs.charts.lifecycle import describe_worth, worth_chart
from rehab.outputs.charts.lives import describe_lives, life_chart
from rehab.outputs.charts.network import (
    MEASURES,
    condition_chart,
    describe_condition,
    describe_grinding,
    describe_program,
    grinding_chart,
    program_chart,
)
from rehab.outputs.charts.program import curve_chart, describe_curve
from rehab.outputs.charts.scenarios import SCENARIO_MEASURES, describe_scenarios, scenario_chart
from rehab.outputs.charts.season import (
    block_timeline,
    campaign_chart,
    crew_weeks,
    describe_campaigns,
    describe_progress,
    describe_season,
    describe_timeline,
    describe_weeks,
    progress_chart,
    season_chart,
)
from rehab.outputs.charts.waiting import WAITING_PARTS, describe_waiting, waiting_chart

__all__ = [
    "MEASURES", "SCENARIO_MEASURES", "WAITING_PARTS", "bid_chart", "block_chart", "block_timeline", "campaign_chart",
    "chance_chart", "condition_chart", "cost_chart", "crew_weeks", "curve_chart", "describe_bids", "describe_block",
    "describe_campaigns", "describe_chances", "describe_condition", "describe_cost", "describe_curve", "describe_fit",
    "describe_grinding", "describe_lives", "describe_program", "describe_progress", "describe_residuals",
    "describe_scenarios", "describe_season", "describe_timeline", "describe_waiting", "describe_weeks",
    "describe_worth", "fit_chart", "grinding_chart", "life_chart", "program_chart", "progress_chart", "residual_chart",
    "scenario_chart", "season_chart", "waiting_chart", "worth_chart",
]
