"""The crew's work list: one year's program to print and fill in, for all blocks or for some, some weeks, some crews.

``content`` gathers what a list shows, ``write`` writes it into any book of the protocol in ``sheet``, ``workbook`` into
an XLSX file.  Cautions are ``data/cautions.csv``; what is ordered follows ``data/assumptions/materials.csv`` and
``equipment.csv``.
"""

from rehab.outputs.worklist.book import workbook, write
from rehab.outputs.worklist.cautions import DECIDES, Caution, cautions_for, load_cautions
from rehab.outputs.worklist.figures import panel_weight_lb
from rehab.outputs.worklist.gather import ORDERS, Content, content
from rehab.outputs.worklist.job import Chosen, Job
from rehab.outputs.worklist.orders import orders, whole_year
from rehab.outputs.worklist.printed import pdf
from rehab.outputs.worklist.traffic import buffer_ft, taper_ft

__all__ = ["DECIDES", "ORDERS", "Caution", "Chosen", "Content", "Job", "buffer_ft", "cautions_for", "content",
           "load_cautions", "orders", "panel_weight_lb", "pdf", "taper_ft", "whole_year", "workbook", "write"]
