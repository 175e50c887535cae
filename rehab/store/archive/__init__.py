"""A whole project as one file, and such a file opened in another database.

``cells`` writes tables as CSV that reads back exactly, ``layout`` says what an archive holds, ``writing`` makes one,
``opening`` checks one before anything of it is believed, ``restoring`` stores one.
"""

from rehab.store.archive.restoring import restore
from rehab.store.archive.writing import archive

__all__ = ["archive", "restore"]
