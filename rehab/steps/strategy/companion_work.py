"""Companion work: what is done and paid beside patches and panels, or alone where there is nothing to patch."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.tables import STRATEGIES

#: column of the needs -> name of the work, in the order it is done: voids before grinding, joints sealed last
#: (common order; FHWA asks for stabilisation and patching before grinding)
WORKS: Final = {
    "jack_panels": "slab jacking", "stabilise_panels": "slab stabilisation", "retrofit_bars": "dowel-bar retrofit",
    "stitch_ft": "cross-stitching", "crack_ft": "crack filling", "grind_sqyd": "diamond grinding",
    "reseal_ft": "joint resealing",
}
_PATCHED: Final = tuple(STRATEGIES.index(name) for name in ("partial_depth", "full_depth"))


def companions(chosen: npt.NDArray[np.int64], needs: pd.DataFrame) -> pd.Series:
    """The companion work of each row, separated by '; ', with 'alone' at the end where nothing is patched.

    ``chosen`` holds the number of each row's strategy in :data:`STRATEGIES`.  Neither none nor reconstruction has
    companions: there is nothing to do, or all of it goes.
    """
    done = np.isin(chosen, _PATCHED)
    alone = (chosen == STRATEGIES.index("partial_depth")) & ~(needs["partial_sqft"].to_numpy(float) > 0)
    flags = np.column_stack([alone, *(needs[column].to_numpy(float) > 0 for column in WORKS)]) & done[:, None]
    # A row's flags are bits of one number: few numbers occur, so few texts are made.
    codes, kinds = pd.factorize(flags @ (1 << np.arange(flags.shape[1])))
    return pd.Series(pd.array([_words(int(kind)) for kind in kinds], dtype="str").take(codes), dtype="str")


def _words(kind: int) -> str:
    names = [name for bit, name in enumerate(WORKS.values(), 1) if kind >> bit & 1]
    return "; ".join(names) + (" alone" if names and kind & 1 else "")
