"""The council brief on paper: ``pdf`` writes the pages, ``streets_pdf`` the list of streets, and
``chart_drawing`` draws one chart as vectors.

The same charts for the screen are in :mod:`rehab.outputs.brief.screen`, which is not imported here: paper needs no
plotly.  Colours, hatches, dashes and axes are the same on both (:mod:`rehab.outputs.brief.look` and ``axis``).
"""

from rehab.outputs.brief.chart import chart_drawing
from rehab.outputs.brief.document import PaperName, pdf, streets_pdf

__all__ = ["PaperName", "chart_drawing", "pdf", "streets_pdf"]
