"""The page on the condition now, and the one on what was done last year."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.tables import STRATEGIES
from rehab.plan.brief import say
from rehab.plan.brief.facts import Facts
from rehab.plan.brief.model import Chart, Figure, Grid, Page, Series

Floats = npt.NDArray[np.float64]

#: what a block needs, as the legend of a chart says it
NEEDS: Final = {"none": "No work yet", "partial_depth": "Partial-depth repair", "full_depth": "Full-depth repair",
                "reconstruction": "Reconstruction"}
_MOST_PLACES: Final = 9  #: districts side by side that can still be read from the back row
_OTHERS: Final = "All others"


def page(facts: Facts) -> Page:
    """The condition going into the first year."""
    blocks = facts.blocks
    area = blocks["area_sqyd"].to_numpy(float)
    needs = blocks["due"].value_counts().reindex(list(STRATEGIES), fill_value=0)
    work, total = int(needs.drop("none").sum()), len(blocks)
    held = {name: _mean(blocks[name], area) for name in ("sound", "partial", "full", "points")}
    guessed = blocks["estimated"].to_numpy(bool)
    lead = (f"At the start of {facts.start}, {say.share(held['sound'])} of the concrete is sound. "
            f"{say.first(say.of(work, total))} {say.verb(work, 'needs', 'need')} work by the city's rules"
            f"{_split(needs)}.")
    return Page(
        "condition", "What condition are the streets in now?", lead,
        figures=(
            Figure("Concrete streets", say.count(total), f"{say.number(blocks['length_ft'].sum() / 5280)} miles, "
                   f"{area.sum():,.0f} square yards of concrete"),
            Figure("Sound concrete", say.share(held["sound"]), f"of the area, start of {facts.start}"),
            Figure("Need partial-depth repair", say.share(held["partial"]), "of the area: crumbling joints and cracks"),
            Figure("Need full-depth repair", say.share(held["full"]), "of the area: broken or sunken panels"),
            Figure("Condition index", f"{held['points']:.0f} points", "mean by area; 100 is new, 0 is failed"),
            Figure("Rated by estimate", say.share(float(guessed.mean())), "of the blocks, not counted panel by panel"),
        ),
        chart=_chart(facts), text=_text(facts, guessed),
        grids=(_grid(facts),), notes=_notes(facts))


def _mean(values: pd.Series, area: Floats) -> float:
    return float(np.average(values.to_numpy(float), weights=area))


def _split(needs: pd.Series) -> str:
    kinds = {str(name): int(count) for name, count in needs.drop("none").items() if count}
    if len(kinds) < 2:
        return "".join(f": {say.work(name)}" for name in kinds)
    return f": {say.listed(f'{count:,} {say.work(name)}' for name, count in kinds.items())}"


def _places(facts: Facts) -> tuple[list[str], pd.Series]:
    """The districts that a chart shows, and which of them each block belongs to."""
    of = facts.blocks["district"]
    names = facts.districts
    if not names:
        return ["All streets"], pd.Series("All streets", index=of.index)
    if len(names) > _MOST_PLACES:
        area = facts.blocks.groupby("district")["area_sqyd"].sum()
        kept = area.nlargest(_MOST_PLACES - 1).index
        names = [*(name for name in names if name in kept), _OTHERS]
        of = of.where(of.isin(kept), _OTHERS)
    return names, of


def _chart(facts: Facts) -> Chart:
    blocks = facts.blocks
    names, of = _places(facts)
    area = pd.crosstab(of, blocks["due"], values=blocks["area_sqyd"], aggfunc="sum").reindex(
        index=names, columns=list(STRATEGIES)).fillna(0.0)
    shares = 100 * area.div(area.sum(axis=1), axis=0)
    by = " in each district" if facts.districts else ""
    return Chart(
        "stacked bars", f"What the streets need at the start of {facts.start}", tuple(names),
        tuple(Series(NEEDS[name], tuple(shares[name].tolist()), name) for name in STRATEGIES), "%",
        "District" if facts.districts else "", "Share of the street area",
        f"Share of the street area{by} by the work that the rules call for at the start of "
        f"{facts.start}.", (0.0, 100.0))


def _text(facts: Facts, guessed: npt.NDArray[np.bool_]) -> tuple[str, ...]:
    blocks = facts.blocks
    worst = pd.Series({str(name): _mean(part["sound"], part["area_sqyd"].to_numpy(float))
                       for name, part in blocks.groupby("district")})
    said = ["A block is one street between two cross streets. It is made of panels, rectangles of concrete between "
            "joints, and they wear one by one. The figures above are shares of panels by area; the bars are of whole "
            "blocks, which need work once some of their panels do."]
    if len(worst) > 1:
        said.append(f"The least sound district is {worst.idxmin()} ({say.share(float(worst.min()))} sound), the most "
                    f"sound {worst.idxmax()} ({say.share(float(worst.max()))}).")
    if guessed.any():
        said.append(f"{say.first(say.count(int(guessed.sum())))} {say.verb(int(guessed.sum()), 'is', 'are')} rated by "
                    "an index, a rating or a word: what these need is an estimate until somebody counts their panels.")
    return tuple(said)


def _grid(facts: Facts) -> Grid:
    blocks = facts.blocks
    rows = [_row(name, blocks[blocks["district"] == name]) for name in facts.districts]
    return Grid(
        "Condition by district" if rows else "Condition",
        ("District", "Blocks", "Miles", "Sound", "Index", "No work", "Partial depth", "Full depth", "Reconstruction"),
        tuple(rows), frozenset(range(1, 9)), (0.2, 0.08, 0.08, 0.09, 0.09, 0.1, 0.12, 0.11, 0.13),
        _row("All streets", blocks))


def _row(name: str, part: pd.DataFrame) -> tuple[str, ...]:
    area = part["area_sqyd"].to_numpy(float)
    needs = part["due"].value_counts().reindex(list(STRATEGIES), fill_value=0)
    return (name, f"{len(part):,}", say.number(part["length_ft"].sum() / 5280), say.share(_mean(part["sound"], area)),
            f"{_mean(part['points'], area):.0f}", *(f"{int(count):,}" for count in needs))


def _notes(facts: Facts) -> tuple[str, ...]:
    blocks = facts.blocks
    years = blocks["survey_year"].astype(int)
    oldest = int(years.min())
    of = int((years == oldest).sum())
    seen = blocks["strategy"].value_counts().reindex(list(STRATEGIES), fill_value=0)
    same = f"All surveys are of {oldest}" if len(set(years)) == 1 else \
        f"The oldest survey is of {oldest} ({say.count(of)}), the newest of {int(years.max())}"
    return (
        f"{same}; the wear from then to the start of {facts.start} is forecast. By the last surveys alone, and with "
        f"what was set by hand, the blocks need: "
        f"{say.listed(f'{say.work(name)} {int(seen[name]):,}' for name in seen.index)}.",
        "Columns of kinds of work count blocks. What a block needs follows from the rules under the question of how "
        "the choice is made.")
