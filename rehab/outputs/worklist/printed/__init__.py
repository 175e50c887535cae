"""The work list as a PDF in black and white: the sheets of the workbook on paper, and panel plans to scale."""

from rehab.outputs.worklist.printed.book import PdfBook, pdf
from rehab.outputs.worklist.printed.rows import shown

__all__ = ["PdfBook", "pdf", "shown"]
