"""Climate normals of one place: daily or monthly, in deg F, tenths of it or deg C, to the 366 days of a year."""

from rehab.inputs.reading.normals.table import NormalsReading, read_normals
from rehab.inputs.reading.normals.unit import UNITS

__all__ = ["UNITS", "NormalsReading", "read_normals"]
