"""The page on what waiting costs: the same work done later, dearer because more is broken."""

from __future__ import annotations

from typing import Final

import pandas as pd

from rehab.base.tables import STRATEGIES, WORK
from rehab.plan import waiting
from rehab.plan.brief import say
from rehab.plan.brief.facts import Facts, each_row
from rehab.plan.brief.model import Chart, Figure, Grid, Page, Series

FAR_YR: Final = 5  #: the delay that examples are told of, beside that of one year
_EXAMPLES: Final = 8
_TITLE: Final = "What does it cost to wait?"


def page(facts: Facts) -> Page:
    """What a delay of all the work that is needed now costs."""
    by_block = facts.waiting
    network = waiting.of_network(by_block).set_index("delay_yr")
    now, start = float(network["now_usd"].iloc[0]), facts.start
    far = min(FAR_YR, facts.prepared.years - 1)
    if far < 1:
        return Page("waiting", _TITLE, f"A program of one year looks no further than {start}: what waiting costs is "
                    "not worked out.", (Figure("Work needed", say.about(now), f"start of {start}, likely cost"),))
    real = _real(network)
    one, several = real[1] - now, real[far] - now
    if max(real) <= 0:
        lead = f"No work is needed through {start + far}: waiting costs nothing."
    else:
        lead = (f"All the work that the rules call for costs {say.about(now)} in {start}; a year later it would "
                f"{_more(one, now)}{_several(far, several)}, before any rise of prices.")
    return Page(
        "waiting", _TITLE, lead,
        figures=(Figure("Work needed now", say.about(now), f"likely cost in {start}"),
                 Figure("One year later", _signed(one), f"{start + 1}, in prices of {start}"),
                 *((Figure(f"{far} years later", _signed(several), f"{start + far}, in prices of {start}"),)
                   if far > 1 else ()),
                 Figure("With the rise of prices", _signed(float(network["total_usd"].iloc[far]) - now),
                        f"{start + far}, dollars of the year")),
        chart=_chart(facts, network), text=_text(facts, network, far),
        grids=(_examples(facts, by_block, far),), notes=(
            "Waiting here means that no work is done on any block before: what the rules call for then, at the "
            "condition of that year, beside what they call for now. Strategies set by hand have no part in it.",
            f"Prices of {start} leave out that prices rise by {_rate(facts)} a year."))


def by_kind(facts: Facts) -> pd.DataFrame:
    """What a block costs and how much dearer it gets by waiting, by the kind of work that it needs in the first year.

    Index: kinds of work that some block needs.  Columns blocks, mean_usd (of a block, first year) and rise_share (over
    the next years, FAR_YR of them or as many as there are, in prices of the first year; missing without a later year).
    """
    table = facts.waiting
    far = min(FAR_YR, facts.prepared.years - 1)
    now = table[(table["delay_yr"] == 0) & (table["strategy"] != "none")].set_index("block_id")
    found = now.groupby("strategy")["now_usd"].agg(["size", "mean", "sum"])
    found.columns = pd.Index(["blocks", "mean_usd", "now_usd"])
    if far < 1:
        found["rise_share"] = float("nan")
    else:
        later = table[table["delay_yr"] == far].set_index("block_id").loc[now.index]
        rise = (later["same_usd"] + later["heavier_usd"]).groupby(now["strategy"]).sum()
        found["rise_share"] = rise / found["now_usd"]
    return found.reindex([name for name in WORK if name in found.index])[["blocks", "mean_usd", "rise_share"]]


def _real(network: pd.DataFrame) -> pd.Series:
    """What the work costs after each delay in prices of the first year."""
    return network[["now_usd", "same_usd", "heavier_usd", "new_usd"]].sum(axis=1)


def _rate(facts: Facts) -> str:
    return f"{say.number(100 * facts.prepared.assumptions.number('economics', 'escalation'))} %"


def _signed(usd: float) -> str:
    return f"{say.about(usd)} more" if usd >= 0.5 else f"{say.about(-usd)} less" if usd <= -0.5 else "the same"


def _more(usd: float, now: float) -> str:
    if abs(usd) < 0.5:
        return "cost the same"
    part = f" ({say.share(abs(usd) / now)})" if now > 0 else ""
    return f"cost {_signed(usd)}{part}"


def _several(far: int, usd: float) -> str:
    return f", and {say.count(far, 'year')} later {_signed(usd)}" if far > 1 else ""


def _chart(facts: Facts, network: pd.DataFrame) -> Chart:
    start = facts.start
    real = _real(network)
    return Chart("bars", "All the work that is needed, by the year in which it is done",
                 tuple(str(start + int(delay)) for delay in network.index),
                 (Series(f"In prices of {start}", tuple(real.tolist()), "need"),), "$", "All the work done in",
                 f"Dollars, prices of {start}", "What all the work that the rules call for would cost if it was done "
                 f"in that year and nothing was done before, in prices of {start}.")


def _text(facts: Facts, network: pd.DataFrame, far: int) -> tuple[str, ...]:
    first, row, later = network.iloc[0], network.iloc[far], facts.start + far
    parts = [(float(row["same_usd"]), "more of the same repair"),
             (float(row["heavier_usd"]), "a heavier kind of work on blocks that need some now"),
             (float(row["new_usd"]), "work on blocks that need none now")]
    told = [f"{_signed(usd)} for {words}" for usd, words in parts if abs(usd) >= 0.5]
    said = [f"By {later} that is {say.listed(told)}."] if told else []
    counts = [f"{say.work(name)} {int(first[f'blocks_{name}']):,} now, {int(row[f'blocks_{name}']):,} in {later}"
              for name in STRATEGIES]
    kinds = [f"{say.work(str(name))} by {say.share(float(rise))}" for name, rise in by_kind(facts)["rise_share"].items()
             if rise > 0]
    if kinds:
        said.append(f"{say.first(say.count(far, 'year'))} of waiting {say.verb(far, 'makes', 'make')} blocks dearer "
                    f"by what they need in {facts.start}: {say.listed(kinds)}.")
    return (*said, f"Blocks by what they need without any work: {'; '.join(counts)}.")


def _examples(facts: Facts, by_block: pd.DataFrame, far: int) -> Grid:
    ranked = waiting.ranked(by_block, far)
    dear = ranked[ranked["rise_usd"] > 0].head(_EXAMPLES)
    where = facts.blocks.set_index("block_id").loc[dear["block_id"]]
    rows = tuple(
        (say.street(place.street, row.block_id), say.ends(place.from_street, place.to_street),
         say.first(say.work(row.strategy)), say.whole(row.now_usd), say.first(say.work(row.later_strategy)),
         say.whole(row.now_usd + row.rise_usd),
         "not planned" if pd.isna(place.program_year) else f"{place.program_year:.0f}")
        for row, place in zip(each_row(dear), each_row(where), strict=True))
    start = facts.start
    return Grid(f"Where {say.count(far, 'year')} of waiting cost most, in prices of {start}",
                ("Street", "Between", f"Needs in {start}", "Cost", f"Needs in {start + far}", "Cost then", "Planned"),
                rows, frozenset({3, 5}), (0.17, 0.21, 0.15, 0.11, 0.15, 0.11, 0.1),
                empty="No block gets dearer by waiting.")
