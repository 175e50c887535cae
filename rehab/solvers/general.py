"""A general solver on the optimiser's problem, in a process of its own that can be ended when its time is over."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import sparse

Floats = npt.NDArray[np.float64]

GRACE_S = 2.0
"""How long after its time limit the solver is left before its process is ended."""
_LOADING_S = 300.0
"""How long that process may take to read the problem; not counted as its time."""


def peak_mib(process: int | str = "self") -> float:
    """The most memory that a process has held, MiB; NaN where the system does not tell."""
    with contextlib.suppress(OSError):
        for line in Path(f"/proc/{process}/status").read_text(encoding="ascii", errors="replace").splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1]) / 2**10
    if process != "self":
        return np.nan
    try:
        import resource
    except ImportError:  # Windows
        return np.nan
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (2**20 if sys.platform == "darwin" else 2**10)


def run(value: Floats, cost: sparse.csr_array, group: npt.NDArray[np.int32], budget: Floats, seconds: float, *,
        whole: bool) -> dict[str, Any]:
    """The relaxation or the integer program by HiGHS, ended soon after ``seconds``: a row of ``compare.run``.

    Its own time limit is not enough: between two looks at the clock it may work for minutes.
    """
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder)
        for name, array in {"value": value, "data": cost.data, "indices": cost.indices, "indptr": cost.indptr,
                            "group": group, "budget": budget}.items():
            np.save(store / f"{name}.npy", array)
        path = os.pathsep.join([str(Path(__file__).parents[2]), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)
        command = [sys.executable, "-m", "rehab.solvers.general", folder, str(seconds), str(int(whole))]
        with (store / "said").open("w+", encoding="ascii") as said:
            process = subprocess.Popen(command, stdout=said, env={**os.environ, "PYTHONPATH": path})
            taken, memory = _watch(process, store / "ready", seconds + GRACE_S)
            said.seek(0)
            reports = [[float(figure) for figure in line.split()] for line in said if line.endswith("\n")]
    if process.returncode > 0:
        raise RuntimeError(f"the process of the general solver ended with code {process.returncode}")
    found, bound, own_seconds, ended, own_memory = (reports or [[np.nan] * 5])[-1]
    stopped = process.returncode == 0
    return {"method": "HiGHS integer" if whole else "HiGHS relaxation", "asked": 1e-6 if whole else np.nan,
            "seconds": own_seconds if stopped else taken, "ended": stopped and ended == 1.0,
            "value": found, "bound": bound, "gap": (bound - found) / abs(bound) if bound else np.nan,
            "memory_mib": own_memory if stopped else memory}


def _watch(process: subprocess.Popen[bytes], ready: Path, seconds: float) -> tuple[float, float]:
    """Wait for the process, and end it ``seconds`` after it is ready; the seconds it had and its most memory, MiB."""
    began, counting, memory = time.monotonic(), False, np.nan
    try:
        while process.poll() is None:
            if not counting and ready.exists():
                began, counting = time.monotonic(), True
            if time.monotonic() - began > (seconds if counting else _LOADING_S):
                memory = peak_mib(process.pid)
                process.kill()
                process.wait()
                return time.monotonic() - began, memory
            time.sleep(0.02)
    finally:
        process.kill()  # nothing happens to one that has ended
        process.wait()
    return time.monotonic() - began, memory


def _solve(store: Path, seconds: float, whole: bool) -> None:
    """The other process: read the instance, solve it, and say value, bound, seconds, ended and memory, line by line."""
    import highspy

    part = {name: np.load(store / f"{name}.npy") for name in ("value", "data", "indices", "indptr", "group", "budget")}
    n, groups, budgets = len(part["value"]), int(part["group"].max(initial=-1)) + 1, len(part["budget"])
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = n, budgets + groups
    model.col_cost_, model.sense_ = part["value"], highspy.ObjSense.kMaximize
    model.col_lower_, model.col_upper_ = np.zeros(n), np.ones(n)
    model.row_lower_ = np.concatenate([np.full(budgets, -np.inf), np.ones(groups)])
    model.row_upper_ = np.concatenate([part["budget"], np.ones(groups)])
    end = part["indptr"][1:]
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = part["indptr"] + np.arange(n + 1, dtype=np.int32)
    model.a_matrix_.index_ = np.insert(part["indices"], end, budgets + part["group"])
    model.a_matrix_.value_ = np.insert(part["data"], end, 1.0)
    if whole:
        model.integrality_ = [highspy.HighsVarType.kInteger] * n
    solver: Any = highspy._Highs()  # type: ignore[attr-defined]  # not Highs: that one writes a banner to the output
    # one thread: with more, reports from another thread wait for this one for ever
    for option, setting in (("output_flag", False), ("threads", 1), ("time_limit", seconds), ("mip_rel_gap", 1e-6)):
        solver.setOptionValue(option, setting)
    solver.passModel(model)
    del part, model
    (store / "ready").touch()
    began = time.monotonic()

    def say(value: float, bound: float, ended: bool = False) -> None:
        figures = [figure if abs(figure) < 1e300 else np.nan for figure in (value, bound)]
        line = (*figures, time.monotonic() - began, float(ended), peak_mib())
        sys.stdout.write(" ".join(map(str, line)) + "\n")
        sys.stdout.flush()

    if whole:
        known = [(np.nan, np.nan)]

        def tell(*given: Any) -> None:
            figures = given[2].mip_primal_bound, given[2].mip_dual_bound
            if figures != known[0]:
                known[0] = figures
                say(*figures)

        solver.setCallback(tell, None)
        for moment in ("kCallbackMipImprovingSolution", "kCallbackMipInterrupt"):
            solver.startCallback(getattr(highspy.cb.HighsCallbackType, moment))
    solver.run()
    ended = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    info = solver.getInfo()
    if whole:
        say(info.objective_function_value, info.mip_dual_bound, ended)
    else:
        say(np.nan, info.objective_function_value if ended else np.nan, ended)


if __name__ == "__main__":
    _solve(Path(sys.argv[1]), float(sys.argv[2]), sys.argv[3] == "1")
