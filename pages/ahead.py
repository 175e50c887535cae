"""The demo city, planned in a process of its own while the server starts and the browser loads the page.

Planning is plain computing: beside the loading page in one process the two would only take turns.
"""

from __future__ import annotations

import pickle
import subprocess
import sys
from functools import cache
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pages.cities import Tables
    from rehab.plan import Plan

OWN = "Own program"  #: name of the engineer's scenario
EFFORT = 3  #: searches for a better program: few, so that a changed budget shows soon

_one_waits = Lock()
_started: list[subprocess.Popen[bytes]] = []


def start() -> None:
    """Begin to plan the demo city."""
    _started.append(subprocess.Popen([sys.executable, "-m", "pages.ahead"], cwd=Path(__file__).parents[1],
                                     stdout=subprocess.PIPE))


def found() -> tuple[Tables, Plan] | None:
    """The demo city and its plan, waited for; none if it was not begun or did not end well: plan it here then."""
    with _one_waits:
        return _answer()


@cache
def _answer() -> tuple[Tables, Plan] | None:
    if not _started:
        return None
    answer, _ = _started[0].communicate()
    return pickle.loads(answer) if _started[0].returncode == 0 else None


def main() -> None:
    """What the process of its own does: plan, and hand the plan over."""
    import gc

    gc.disable()  # libraries make objects by the hundred thousand and hardly any garbage
    from pages import cities
    from rehab import plan
    from rehab.base.settings import Scenario
    from rehab.inputs import assumptions

    city, asked = cities.demo(), Scenario(name=OWN)
    ready = plan.prepare(city.blocks, city.defects, assumptions.defaults(), asked.start_year, len(asked.budgets_usd))
    made = plan.decide(ready, asked, EFFORT)
    made.overview  # noqa: B018 - made here, for the first page shows it
    sys.stdout.buffer.write(pickle.dumps((city, made), pickle.HIGHEST_PROTOCOL))


if __name__ == "__main__":
    main()
