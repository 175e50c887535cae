"""The pages on how the choice is made, and on what the numbers rest on."""

from __future__ import annotations

from typing import Final

import pandas as pd

from rehab.base.tables import SOURCES
from rehab.plan import council
from rehab.plan.brief import cause, rules, say
from rehab.plan.brief.facts import Facts, each_row
from rehab.plan.brief.model import Figure, Grid, Page
from rehab.plan.brief.risks import assumed_words
from rehab.plan.brief.waits import FAR_YR, by_kind

_STEPS: Final = {
    "best": ("For every block and every year it is worked out what its work would cost and how much sound concrete it "
             "would add over the years after, heavily used streets counting more.",
             "Then the list is found that adds the most for the money of all the years together. A street is not "
             "picked for being the worst, but for what its work adds."),
    "worst first": ("The streets in the worst condition are worked on first, as far as the money of each year goes.",),
    "benefit-cost ratio": ("The works that add the most for each dollar are taken first, as far as the money of each "
                           "year goes.",),
    "incremental benefit-cost": ("The works that add the most for each further dollar are taken first, as far as the "
                                 "money of each year goes.",),
    "no work": ("This scenario does no work: it shows what happens then.",)}
_MONEY_STEP: Final = ("For every block and every year it is worked out what its work would cost and how much it would "
                      "save the city over the years after.",
                      "Then the list is found that saves the most for the money of all the years together. A street is "
                      "not picked for being the worst, but for what its work saves.")
#: what a block's condition rests on, in words
_KINDS: Final = {"panel survey": "a survey of every panel", "counts": "counts of damaged panels and joints",
                 "index": "a condition index", "rating": "a rating of 1 to 10", "word": "a word such as good or poor"}


def page(facts: Facts) -> Page:
    """How the choice is made, how near it is to the best, and what it gains over simple rules."""
    plan = facts.plan
    scenario = plan.scenario
    steps = _MONEY_STEP if (scenario.choice, scenario.benefit) == ("best", "agency cost") else _STEPS[scenario.choice]
    proof = council.bound_words(plan)
    lead = ("The city's rules say what each block needs; a search over all blocks and years then finds the list that "
            "does the most for the money." if scenario.choice == "best" else
            "The city's rules say what each block needs; a simple rule then orders the blocks until the money is "
            "spent.")
    if scenario.choice == "no work":
        lead = "The city's rules say what each block needs; in this scenario nothing of it is done."
    figures = [Figure("Rules", f"{len(cause.now(facts.prepared).rules):,}", "what decides the kind of work, in order")]
    if plan.chosen.status in ("optimal", "feasible") and plan.chosen.value > 0:
        figures.append(Figure("Best possible, at most", f"{_room(plan.chosen.upper_bound / plan.chosen.value - 1)} "
                                                        "more",
                              "than this program, proven by the search"))
    return Page("choice", "How is the choice made?", lead, tuple(figures),
                text=(*steps, *_dear(facts), *_by_hand(facts), *_beside_simple(facts)),
                grids=(_rules(facts),), notes=(*((proof,) if proof else ()), *_notes(facts)))


def _room(share: float) -> str:
    return "0.001 %" if share <= 1e-5 else f"{-(-100_000 * share // 1) / 1000:.3f} %"


def _dear(facts: Facts) -> tuple[str, ...]:
    """What a block of each kind costs and what waiting adds to it: why the worst need not come first."""
    kinds = by_kind(facts)
    if len(kinds) < 2 or facts.plan.scenario.choice == "no work":
        return ()
    far = say.count(min(FAR_YR, facts.prepared.years - 1), "year")
    told = [f"{say.about(float(row.mean_usd))} for {say.work(str(name))}"
            + (f" ({_rise(float(row.rise_share))} after {far} of waiting)" if row.rise_share == row.rise_share else "")
            for name, row in zip(kinds.index, each_row(kinds), strict=True)]
    return (f"A block costs on average, in {facts.start}: {say.listed(told)}.",)


def _rise(share: float) -> str:
    if abs(share) < 0.005:
        return "as much"
    return f"{say.share(abs(share))} {'more' if share > 0 else 'less'}"


def _by_hand(facts: Facts) -> tuple[str, ...]:
    """What the scenario asks beside its money, in a sentence."""
    asked = facts.plan.scenario
    parts = [say.count(len(rows), *words) for rows, words in (
        (asked.overrides, ("kind of work set by hand", "kinds of work set by hand")),
        (asked.forced, ("year fixed by hand", "years fixed by hand")),
        (asked.kept_out, ("block kept out by hand", "blocks kept out by hand")),
        (asked.closed, ("year closed to a block by hand", "years closed to blocks by hand")),
        (asked.funds, ("fund for some work only", "funds for some work only")),
        (asked.capacities, ("limit on how much of a work a year can take", "limits on how much of a work a year can "
                                                                           "take")),
        (asked.district_shares, ("least share of a district", "least shares of districts")),
        (asked.targets, ("aim of condition", "aims of condition"))) if rows]
    if asked.cleared_by is not None:
        parts.append(f"the aim that by {asked.cleared_by} no block waits for full-depth repair or reconstruction")
    return (f"Besides the money the choice keeps: {say.listed(parts)}.",) if parts else (
        "Nothing was set by hand: no street was moved, kept out or put in.",)


def _beside_simple(facts: Facts) -> tuple[str, ...]:
    """The plan beside simple rules with the same money, of those that were given."""
    own = facts.plan
    simple = {name: one for name, one in facts.others.items() if one.scenario.choice not in ("best", "no work")
             and one.scenario.money_usd == own.scenario.money_usd and one.scenario.benefit == own.scenario.benefit}
    if own.scenario.choice != "best" or not simple:
        return ()
    gain = council.gain(own, simple)
    said = [f"In what the choice counts, {gain[0].lower()}{gain[1:]}"] if gain else []
    last = facts.years[-1]
    for name, one in simple.items():
        mine, its = (float(plan.by_year["sound_with"].iloc[-1]) for plan in (own, one))
        said.append(f"At the end of {last}, {say.share(mine, 1)} of the concrete is sound by this program and "
                    f"{say.share(its, 1)} by '{name.lower()}' for the same money.")
    return tuple(said)


def rule_rows(facts: Facts) -> pd.DataFrame:
    """The rules in their order: words, plain (words), work, engineer, also, and how many blocks each decides now."""
    found = cause.now(facts.prepared)
    decided = pd.Series(found.first).value_counts()
    return pd.DataFrame([{"words": rules.rule_words(rule), "plain": rules.plain_words(rule),
                          "work": say.work(rule.strategy), "engineer": rule.engineer,
                          "also": say.work(rule.also) if rule.also else "", "blocks": int(decided.get(at, 0))}
                         for at, rule in enumerate(found.rules)])


def _rules(facts: Facts) -> Grid:
    table = rule_rows(facts)
    rows = tuple((say.first(row.plain), say.first(row.work), f"{row.blocks:,}")
                 for row in each_row(table[table["blocks"] > 0]))
    return Grid("The rules that decide here, the first that holds decides", ("If", "Then", "Blocks"), rows,
                frozenset({2}), (0.66, 0.22, 0.12), ("All blocks, by the last surveys", "", f"{len(facts.blocks):,}"))


def _notes(facts: Facts) -> tuple[str, ...]:
    table = rule_rows(facts)
    idle = int((table["blocks"] == 0).sum())
    between = int(facts.blocks["engineer_decides"].sum())
    said = [f"The other {say.count(idle, 'rule')}, which {say.verb(idle, 'decides', 'decide')} no block today, "
            f"{say.verb(idle, 'stands', 'stand')} in the appendix with their limits."] if idle else []
    said.append("Numbers of panels and pieces are expected ones, so a limit may be a fraction of one.")
    if between:
        said.append(f"On {say.count(between)} the published limits leave two kinds of work open: the engineer "
                    "decides, and the lighter one is planned until then.")
    return tuple(said)


def basis(facts: Facts) -> Page:
    """What the numbers rest on: surveys, values of the city's own or defaults, and their sources."""
    blocks = facts.blocks
    kinds = blocks["condition_source"].value_counts().reindex(list(SOURCES), fill_value=0)
    kinds = kinds[kinds > 0]
    measured = int(kinds.reindex(["panel survey", "counts"]).fillna(0).sum())
    origin, status = assumption_counts(facts)
    own, every = int(origin.get("city", 0)), int(origin.sum())
    lead = (f"{say.first(say.of(measured, len(blocks)))} {say.verb(measured, 'was', 'were')} counted panel by panel "
            f"or joint by joint; {say.of(own, every, 'assumed value')} {say.verb(own, 'is', 'are')} the city's own.")
    years = blocks["survey_year"].astype(int).value_counts().sort_index()
    sources = Grid("What the values rest on", ("Rests on", "Values", "Share"), tuple(
        (say.first(str(name)), f"{int(count):,}", say.share(count / every)) for name, count in status.items()),
        frozenset({1, 2}), (0.6, 0.2, 0.2), ("All values", f"{every:,}", "100 %"))
    area = blocks["area_sqyd"].sum()
    condition = Grid("What the condition rests on", ("The condition rests on", "Blocks", "Share of the area"), tuple(
        (say.first(_KINDS[str(name)]), f"{int(count):,}",
         say.share(float(blocks.loc[blocks["condition_source"] == name, "area_sqyd"].sum() / area)))
        for name, count in kinds.items()), frozenset({1, 2}), (0.6, 0.2, 0.2),
        ("All blocks", f"{len(blocks):,}", "100 %"))
    dates = Grid("When the blocks were surveyed", ("Year of the survey", "Blocks"), tuple(
        (str(year), f"{int(count):,}") for year, count in years.items()), frozenset({1}), (0.6, 0.4))
    return Page("basis", "What do the numbers rest on?", lead, (
        Figure("Counted", say.share(measured / len(blocks)), "of the blocks"),
        Figure("Oldest survey", str(years.index[0]), say.count(int(years.iloc[0]))),
        Figure("Values of the city's own", f"{own:,}", f"of {every:,}; the rest are defaults with their source")),
        text=(*_filled(facts), used_of_sources(facts)), grids=(condition, dates, sources),
        notes=("A default holds for many places and is replaced by the city's own value where it has one. 'From "
               "memory' means that the source was not at hand when the value was written down, 'common practice' that "
               "there is none.",))


def assumption_counts(facts: Facts) -> tuple[pd.Series, pd.Series]:
    """How many assumed values are the city's and how many defaults, and the status of what they rest on."""
    used = facts.prepared.assumptions
    rows = pd.concat([table[["origin", "source_id"]] for table in used.tables.values()])
    status = used.sources["status"].reindex(rows["source_id"]).to_numpy()
    of = pd.Series(status).where(rows["origin"].to_numpy() != "city", "the city's own")
    order = ["the city's own", "read", "from memory", "common practice, no source"]
    counts = of.value_counts().reindex(order).dropna().astype(int)
    counts.index = counts.index.map({"read": "read in a source that is "
                                             "named"} | {name: name for name in order if name != "read"})
    return rows["origin"].value_counts(), counts


def used_of_sources(facts: Facts) -> str:
    """How many sources there are, by their status, in a sentence."""
    counts = facts.prepared.assumptions.sources["status"].value_counts()
    told = {"read": "read", "from memory": "quoted from memory", "common practice, no source": "no source but common "
                                                                                               "practice"}
    return (f"{say.first(say.count(int(counts.sum()), 'source'))} {say.verb(int(counts.sum()), 'is', 'are')} named in "
            f"the appendix: {say.listed(f'{int(count):,} {told[str(name)]}' for name, count in counts.items())}.")


def _filled(facts: Facts) -> tuple[str, ...]:
    told = assumed_words(facts)
    return (f"Filled in by rule where the table has nothing: {told}.",) if told else ()

