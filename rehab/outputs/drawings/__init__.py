"""The scaled panel plan of a block, as SVG and as PDF from one description.

``panel_plan`` lays the plan out in points on bands (title, strips, legend, notes, schedule), with marks of plain
kinds; ``as_svg`` and ``as_pdf`` write them down.  Text is measured and the PDF written with reportlab.
"""

from rehab.outputs.drawings.marks import LETTER, TABLOID, Drawing, Paper
from rehab.outputs.drawings.pdf import as_pdf, draw_pages
from rehab.outputs.drawings.plan import panel_plan
from rehab.outputs.drawings.schedule import schedule
from rehab.outputs.drawings.svg import as_svg

__all__ = ["LETTER", "TABLOID", "Drawing", "Paper", "as_pdf", "as_svg", "draw_pages", "panel_plan", "schedule"]
