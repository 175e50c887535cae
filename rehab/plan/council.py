"""What a council reads of several plans: them side by side, what the best gains over simple rules, prices in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

from rehab.plan import least, reasons
from rehab.plan.model import Plan
from rehab.steps.program.limits import amount

#: how much more of a limit its price is told for, by unit
_STEPS: Final = {"usd": reasons.NEXT_USD, "sqft": 1_000.0, "sqyd": 100.0, "points": 0.1}
_GAINS: Final = {"sound pavement": "{:,.0f} square-yard-years", "agency cost": "${:,.0f} saved"}


def side_by_side(plans: Mapping[str, Plan]) -> pd.DataFrame:
    """One row per plan.

    Columns scenario, usd_per_yr (mean of the money there is), spent_usd, blocks, benefit, measure (what benefit
    counts), year (the last), index, sound_share, full_share (after the work of that year), status.
    """
    rows = []
    for name, plan in plans.items():
        last = plan.by_year.iloc[-1]
        rows.append({
            "scenario": name, "usd_per_yr": sum(plan.scenario.money_usd) / plan.prepared.years,
            "spent_usd": float(plan.summary["spent_usd"]), "blocks": len(plan.program),
            "benefit": plan.chosen.value, "measure": plan.scenario.benefit, "year": int(last["year"]),
            "index": float(last["index_with"]), "sound_share": float(last["sound_with"]),
            "full_share": float(last["full_with"]), "status": plan.chosen.status})
    return pd.DataFrame(rows)


def gain(best: Plan, rules: Mapping[str, Plan]) -> str:
    """How much more benefit the best program has than simple rules with the same money, in a sentence."""
    parts = []
    for name, plan in rules.items():
        if plan.chosen.status == "infeasible":
            parts.append(f"{name.lower()} finds no program")
        elif plan.chosen.value > 0:
            more = 100 * (best.chosen.value / plan.chosen.value - 1)
            parts.append(f"{more:.1f} % more than {name.lower()}")
    said = bool(parts) and best.chosen.value > 0
    return f"The same money chosen for the most benefit buys {_listed(parts)}." if said else ""


def change_counts(changes: pd.DataFrame) -> str:
    """How many blocks change between two programs, by kind, in a sentence; ``changes`` as of ``reasons.changes``."""
    if changes.empty:
        return "The two programs are the same."
    counts = changes["change"].value_counts()
    parts = [f"{kind}: {count:,}" for kind, count in counts.items()]
    return f"{len(changes):,} {'block differs' if len(changes) == 1 else 'blocks differ'}; {', '.join(parts)}."


def limit_lines(plan: Plan) -> pd.DataFrame:
    """The limits in words: columns limit, year, allowed, used, binds, price; those that bind first, in their order.

    ``binds`` where one unit more would be worth something; ``price`` says what a step more allowed, or less demanded,
    would bring; empty where it brings nothing or no prices are known.
    """
    table, gains = reasons.of_limits(plan), _GAINS[plan.scenario.benefit]
    rows = []
    for at in range(len(table)):
        row = table.iloc[at]
        unit, floor, price = str(row["unit"]), bool(row["floor"]), float(row["price"])
        step = _STEPS.get(unit, 1.0)
        binds = bool(price * step > 1e-9 * max(abs(plan.chosen.value), 1.0))  # false for NaN
        turn = f"{amount(step, unit)} {'less demanded' if floor else 'more'}"
        rows.append({"limit": f"{str(row['limit']).capitalize()}: {row['detail']}", "year": row["year"],
                     "allowed": ("at least " if floor else "at most ") + amount(float(row["most"]), unit),
                     "used": amount(float(row["used"]), unit), "binds": binds,
                     "price": f"{turn}: {gains.format(price * step)}" if binds else ""})
    found = pd.DataFrame(rows, columns=["limit", "year", "allowed", "used", "binds", "price"])
    return found.sort_values("binds", ascending=False, kind="stable", ignore_index=True).astype({"year": "Int64"})


def first_target(plan: Plan) -> float:
    """A mean index to ask for to begin with: two whole points above today's, 100 at most."""
    return float(min(round(least.mean_index_now(plan.prepared)) + 2, 100))


def bound_words(plan: Plan) -> str:
    """How near the program is to the best there can be, in a sentence; empty where nothing is proven."""
    value, upper = plan.chosen.value, plan.chosen.upper_bound
    if plan.chosen.status not in ("optimal", "feasible") or not value > 0:
        return ""
    room = 100 * (upper / value - 1)
    # Rounded up, so that what is said is proven.
    shown = "0.001" if room <= 0.001 else f"{-(-room * 1000 // 1) / 1000:.3f}"
    return (f"Proven: a program at most {shown} % better can exist. Benefit {value:,.0f} "
            f"({plan.summary['benefit_measures']}); under these limits none reaches more than {upper:,.0f}.")


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
