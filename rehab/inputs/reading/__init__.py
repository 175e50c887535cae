"""Uploads to checked tables: CSV, XLSX, GeoJSON, GeoPackage and zipped Shapefile, with all problems at once.

The path: :func:`open_table` gives a :class:`Raw` table of texts, :func:`suggest` or :func:`read_mapping` says what
its columns mean, :func:`read_blocks`, :func:`read_defects` and :func:`read_bids` give a
:class:`Reading` with a checked table and its problems, and so do :func:`read_no_work`, :func:`read_moves` and
:func:`read_actual` for the season; :func:`read_lines` joins a line layer of its own, :func:`read_normals` finds the
columns of climate normals by itself, :func:`read_forecast` those of the weather of given dates,
:func:`read_measured` takes what a crew wrote into a work list.  Only :class:`rehab.base.errors.UnusableInput` is
raised.
"""

from rehab.inputs.reading.bids import read_bids
from rehab.inputs.reading.blocks import Reading, read_blocks
from rehab.inputs.reading.commitments import as_forced, read_commitments
from rehab.inputs.reading.defects import read_defects
from rehab.inputs.reading.forecast import ForecastReading, read_forecast
from rehab.inputs.reading.headings import suggest
from rehab.inputs.reading.lines import read_lines
from rehab.inputs.reading.mapping import check_mapping, read_mapping, write_mapping
from rehab.inputs.reading.measured import Measured, read_measured
from rehab.inputs.reading.normals import NormalsReading, read_normals
from rehab.inputs.reading.opening import open_table
from rehab.inputs.reading.raw import Raw
from rehab.inputs.reading.season_rows import read_actual, read_moves, read_no_work
from rehab.inputs.reading.templates import dictionary, template, template_workbook

__all__ = ["ForecastReading", "Measured", "NormalsReading", "Raw", "Reading", "as_forced", "check_mapping",
           "dictionary", "open_table", "read_actual", "read_bids", "read_blocks", "read_commitments", "read_defects",
           "read_forecast", "read_lines", "read_mapping", "read_measured", "read_moves", "read_no_work",
           "read_normals", "suggest", "template", "template_workbook", "write_mapping"]
