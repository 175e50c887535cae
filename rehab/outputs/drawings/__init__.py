"""The scaled panel plan of a block, and where it lies, as SVG, PDF and PNG from one description.

``panel_plan`` lays the plan out in points on bands (title, strips, legend, notes, schedule), with marks of plain
kinds, and ``Streets`` the sketch of its place; ``as_svg``, ``as_pdf`` and ``as_png`` write them down.  Text is
measured and the PDF written with reportlab.
"""

from rehab.outputs.drawings.marks import A4, LETTER, TABLOID, Drawing, Paper
from rehab.outputs.drawings.pdf import as_pdf, draw_pages
from rehab.outputs.drawings.plan import panel_plan
from rehab.outputs.drawings.png import as_png
from rehab.outputs.drawings.schedule import schedule
from rehab.outputs.drawings.sketch import Streets, location_sketch
from rehab.outputs.drawings.svg import as_svg

__all__ = ["A4", "LETTER", "TABLOID", "Drawing", "Paper", "Streets", "as_pdf", "as_png", "as_svg", "draw_pages",
           "location_sketch", "panel_plan", "schedule"]
