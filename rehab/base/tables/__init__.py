"""Every table that crosses a border: its columns, units, limits and meaning.

One list of :class:`Field` rows per table is the single source: the pandera schemas, the upload template and
the data dictionary are made from it.  Keys are columns, units stand in the names, shares are 0 to 1, and
missing is NA only where ``required`` is false.  Column kinds and their pandas types: text and choice ``str``,
number and whole ``float64`` (whole numbers may be missing), flag ``boolean``, date ``datetime64``,
key ``int64``.
"""

from rehab.base.tables.block import CONDITION, COUNTS
from rehab.base.tables.checks import (
    check,
    dictionary,
    empty,
    field,
    fields,
    obeys,
    schema,
    upload_fields,
    with_types,
)
from rehab.base.tables.columns import TABLES
from rehab.base.tables.fields import (
    CALLS,
    CLASSES,
    DEFECTS,
    DISTRESS,
    IN_WORDS,
    REPAIRS,
    SEVERITIES,
    SOURCES,
    STRATEGIES,
    TASKS,
    WORK,
    Field,
    Kind,
)

__all__ = [
    "CALLS", "CLASSES", "CONDITION", "COUNTS", "DEFECTS", "DISTRESS", "IN_WORDS", "REPAIRS", "SEVERITIES", "SOURCES",
    "STRATEGIES", "TABLES", "TASKS", "WORK", "Field", "Kind", "check", "dictionary", "empty", "field", "fields",
    "obeys", "schema", "upload_fields", "with_types",
]
