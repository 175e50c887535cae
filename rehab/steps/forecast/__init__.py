"""The forecast: a block is a population of panels, and panels fail by Weibull survival.

Five groups of panels: sound, needing partial depth (shallow damage), needing full depth (deep damage), patched
and replaced.  Sound panels go shallow or deep by two competing curves; unrepaired shallow damage breaks a panel
faster; patches fail back to shallow, replaced panels to deep.  Years are steps with exact conditional survival,
so a panel that has lasted forty years is asked only for its forty-first.

``curves`` holds the families' curves and what a block's own survey makes of them, ``ageing`` the untreated years,
``work`` the years after work, ``life`` the years until the index falls to its trigger.
"""

from rehab.steps.forecast.ageing import Ageing, age, growing_shares, index_of, shares_like, untreated, vary
from rehab.steps.forecast.curves import block_curves, families, usual_shares
from rehab.steps.forecast.draws import Multiples, counts_at, multiples
from rehab.steps.forecast.life import drawn_lives, life, years_to
from rehab.steps.forecast.work import Chance, Work, benefit, treated, treated_index

__all__ = ["Ageing", "Chance", "Multiples", "Work", "age", "benefit", "block_curves", "counts_at", "drawn_lives",
           "families", "growing_shares", "index_of", "life", "multiples", "shares_like",
           "treated", "treated_index", "untreated", "usual_shares", "vary", "years_to"]
