"""What the database refuses, in words for the person at the screen."""

from __future__ import annotations

from datetime import datetime


class StoreError(Exception):
    """The database cannot do what was asked; the message says why and what to do about it."""


class Stale(StoreError):
    """Somebody else saved since the version that this change began from; nothing was stored.

    ``who`` saved ``version`` (the newest) at ``saved_on`` (UTC).
    """

    def __init__(self, message: str, who: str, saved_on: datetime, version: int):
        self.who, self.saved_on, self.version = who, saved_on, version
        super().__init__(message)
