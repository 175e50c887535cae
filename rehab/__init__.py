"""Planning of concrete street repair: from a table of blocks to a crew's work list."""

__version__ = "0.1.0"
