"""The forecast: a block is a population of panels, and panels fail by Weibull survival.

Five groups of panels: sound, needing partial depth (shallow damage), needing full depth (deep damage), patched
and replaced.  Sound panels go shallow or deep by two competing curves; unrepaired shallow damage breaks a panel
faster; patches fail back to shallow, replaced panels to deep.  Years are steps with exact conditional survival,
so a panel that has lasted forty years is asked only for its forty-first.

``curves`` holds the families' curves and what a block's own survey makes of them, ``ageing`` the untreated years,
``work`` the years after work, ``life`` the years until the index falls to its trigger.
"""

from rehab.steps.forecast.ageing import Ageing, age, growing_shares, untreated, vary
from rehab.steps.forecast.curves import block_curves, families
from rehab.steps.forecast.life import grinding_life, life, years_to
from rehab.steps.forecast.work import Work, benefit, treated, treated_index

__all__ = ["Ageing", "Work", "age", "benefit", "block_curves", "families", "grinding_life", "growing_shares", "life", "treated",
           "treated_index", "untreated", "vary", "years_to"]
