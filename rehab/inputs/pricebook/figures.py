"""Robust figures of the bids for one item: percentiles, scores of outliers, the line of price against quantity."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: makes the median absolute deviation of a normal sample about one standard deviation
_NORMAL: Final = 0.6745
_LINE_QUANTITIES: Final = 3  #: through two quantities a line always goes, and says nothing
_MOST_IN_LINE: Final = 1_500  #: slopes are taken between all pairs


@dataclass(frozen=True)
class Line:
    """price = at_one x quantity ^ exponent, with the 95 % interval of the exponent and the number of bids."""

    at_one: float
    exponent: float
    low: float
    high: float
    bids: int

    def price(self, quantity: npt.ArrayLike) -> Floats:
        """The price on the line at a quantity."""
        return np.asarray(self.at_one * np.asarray(quantity, float) ** self.exponent)


def modified_scores(values: Floats) -> Floats:
    """Modified z-scores 0.6745 (x - median) / MAD; NaN throughout where over half of the values are alike (MAD zero).

    Iglewicz and Hoaglin, How to Detect and Handle Outliers, 1993, as in the NIST e-Handbook 1.3.5.17 (from memory).
    """
    off = values - np.median(values)
    spread = float(np.median(np.abs(off)))
    # Not compared with zero: logarithms of equal prices may differ in the last digit.
    if spread <= 1e-12 * max(1.0, float(np.max(np.abs(values)))):
        return np.full(len(values), np.nan)
    return _NORMAL * off / spread


def power_line(quantity: Floats, price: Floats, least: int) -> Line | None:
    """The line of log price against log quantity; None with fewer than ``least`` bids or three quantities.

    Slope: the median of the slopes between all pairs of different quantity (Theil 1950, Sen 1968), which up to 29 % of
    wild prices do not move far, so that the line is not drawn by the outliers it is to show.  The interval is Sen's;
    bids on one project are not independent, so it is rather too narrow.
    """
    if len(price) < least or len(np.unique(quantity)) < _LINE_QUANTITIES:
        return None
    from scipy.stats import theilslopes

    x, y = np.log(quantity), np.log(price)
    if len(x) > _MOST_IN_LINE:  # evenly over the order of quantities
        some = np.argsort(x, kind="stable")[np.linspace(0, len(x) - 1, _MOST_IN_LINE).astype(int)]
        x, y = x[some], y[some]
    slope, _, low, high = (float(number) for number in theilslopes(y, x, alpha=0.95))
    # Half of the bids above the line, half below.
    return Line(float(np.exp(np.median(y - slope * x))), slope, low, high, len(price))


def by_quantity(price: Floats, quantity: Floats) -> float:
    """The weighted median: the lowest price at which, with all cheaper bids, half of all quantity was bid."""
    order = np.argsort(price, kind="stable")
    total = np.cumsum(quantity[order])
    return float(price[order][np.searchsorted(total, total[-1] / 2)])
