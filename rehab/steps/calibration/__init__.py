"""Calibration: the families' curves refitted to two or more surveys of the same blocks, by maximum likelihood.

A panel that failed between two surveys did so at an unknown day (interval censoring), and blocks of one family differ
by multipliers of their own (gamma distributed).  ``history`` makes pairs of surveys and sets apart what work explains,
``likelihood`` is that of a block with its multipliers integrated out, ``refit`` finds the curves and their intervals,
``population`` is what curves say of blocks never repaired, to be held against what was seen.
"""

from rehab.steps.calibration.history import History, pair
from rehab.steps.calibration.population import population
from rehab.steps.calibration.refit import Fit, fit

__all__ = ["Fit", "History", "fit", "pair", "population"]
