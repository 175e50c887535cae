"""The crew's work list: one year's program as a workbook to print and fill in."""

from rehab.outputs.worklist.book import workbook
from rehab.outputs.worklist.cautions import DECIDES, Caution, cautions_for, load_cautions, panel_weight_lb, taper_ft
from rehab.outputs.worklist.gather import ORDERS, materials_by_week

__all__ = ["DECIDES", "ORDERS", "Caution", "cautions_for", "load_cautions", "materials_by_week", "panel_weight_lb",
           "taper_ft", "workbook"]
