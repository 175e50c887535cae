"""The program: which block gets which work in which year, under every limit, with a proof of how good it is.

``alternatives``: what could be done to a block, at which cost and benefit.  ``openings``: limits on single blocks and
years.  ``limits``: limits over the program, each a named function.  ``corridors``: what is chosen at once.  ``choose``:
the best program and the simple rules beside it.  ``conflicts``: why none obeys all that is asked.  ``funds``: which
fund pays which block.  ``why``: the alternatives beside the chosen ones, prices of limits, the proof as tables.
"""

from rehab.steps.program.alternatives import Alternatives, as_table, every, less_waiting, single
from rehab.steps.program.choose import Chosen, best, by_rule, nothing
from rehab.steps.program.corridors import Offers, corridor_of, offers
from rehab.steps.program.limits import Limits, most_in_a_year
from rehab.steps.program.limits import of as limits_of
from rehab.steps.program.openings import Openings, allowed

__all__ = ["Alternatives", "Chosen", "Limits", "Offers", "Openings", "allowed", "as_table", "best", "by_rule",
           "corridor_of", "every", "less_waiting", "limits_of", "most_in_a_year", "nothing", "offers", "single"]
