"""What every table holds, for machines and for readers: CSVW metadata beside CSV files, and the schema as a page."""

from rehab.outputs.csvw.metadata import describe
from rehab.outputs.csvw.page import schema_page

__all__ = ["describe", "schema_page"]
