"""A city's own prices from what contractors bid.

The path: :func:`suggest` lists the items of a table of bids with a pay item suggested for each; what the user made of
the list goes into :func:`make`, which brings every price to one quarter's dollars and gives a :class:`PriceBook` with
low, likely and high by pay item, every bid behind them, and notes; :func:`city_values` turns chosen prices into values
of the city's own, for :func:`rehab.inputs.assumptions.overlay`.  Nothing is matched, left out or taken over by itself.
"""

from rehab.inputs.pricebook.book import PriceBook, city_values, make
from rehab.inputs.pricebook.figures import modified_scores, power_line
from rehab.inputs.pricebook.matching import suggest
from rehab.inputs.pricebook.quarters import index_series, usual_quarter

__all__ = ["PriceBook", "city_values", "index_series", "make", "modified_scores", "power_line",
           "suggest", "usual_quarter"]
