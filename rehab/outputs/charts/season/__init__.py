"""Pictures of a season: the weeks of the crews, the season, one block, the grinder's campaigns, plan and actual."""

from rehab.outputs.charts.season.campaigns import campaign_chart, describe_campaigns
from rehab.outputs.charts.season.progress import describe_progress, progress_chart
from rehab.outputs.charts.season.timeline import block_timeline, describe_timeline
from rehab.outputs.charts.season.weeks import crew_weeks, describe_weeks
from rehab.outputs.charts.season.whole import describe_season, season_chart

__all__ = ["block_timeline", "campaign_chart", "crew_weeks", "describe_campaigns", "describe_progress",
           "describe_season", "describe_timeline", "describe_weeks", "progress_chart", "season_chart"]
