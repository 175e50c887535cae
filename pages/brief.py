"""Council brief: what the money buys, in plain words; nothing here changes the plan."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import pandas as pd
import streamlit as st

from pages import calendars, session, uncertainty, uploads
from rehab import plan
from rehab.base.errors import Problem, UnusableInput, as_table
from rehab.base.settings import fingerprint
from rehab.inputs import reading
from rehab.outputs import brief as paper
from rehab.outputs.brief.screen import figure
from rehab.outputs.words import known, money, place
from rehab.plan import brief
from rehab.plan.brief.model import Brief, Figure, Grid, Page

_MOST_FOUND = 40  #: blocks that are told about under a name
_WHOLE = 12  #: rows of a table that is shown whole, with its sentences uncut
_ACROSS = 3  #: figures side by side


def main() -> None:
    st.title("Council brief")
    session.banner()
    made = session.decided()
    others = {asked.name: session.decided(asked) for asked in brief.scenarios(made)}
    day = date.today()
    last, odds = _more(made)
    key = (*_key(made, others, day), "" if last is None else fingerprint(last), odds)
    shown = _brief(key, made, others, day, last, odds)
    st.caption(session.plain(f"{shown.title}. Made on {shown.made}. Nothing on this page changes the plan."))
    _files(shown)
    _find(shown)
    left, right = st.columns([1, 3], gap="medium")
    parts = {**{page.title: page for page in shown.pages}, "District by district": None, "Every street": None,
             "Words used": None, "Method and sources": None}
    with left:
        chosen = st.radio("Questions", list(parts), key="brief_page", format_func=session.plain)
    with right:
        if chosen == "District by district":
            _district(shown)
        elif chosen == "Every street":
            _streets(shown)
        elif chosen == "Words used":
            _words(shown)
        elif chosen == "Method and sources":
            _appendix(shown)
        elif (page := parts.get(chosen)) is not None:
            _page(page)


def _key(made: plan.Plan, others: Mapping[str, plan.Plan], day: date) -> tuple[object, ...]:
    """A key that changes with what was decided: a better program of the same scenario is another brief."""
    return (session.tables().key, session.tables().name, day.isoformat(), *(
        part for each in (made, *others.values())
        for part in (*each.summary["fingerprints"].values(), each.scenario.name, fingerprint(each.program))))


@st.cache_resource(max_entries=4, show_spinner="Writing the brief ...")
def _brief(key: tuple[object, ...], _made: plan.Plan, _others: Mapping[str, plan.Plan], _day: date,
           _last: pd.DataFrame | None, _odds: bool) -> Brief:
    first = _made.prepared.start_year
    season = calendars.season(_made, first) if (_made.program["year"] == first).any() else None
    chances = uncertainty.drawn(tuple(_made.summary["fingerprints"].values()), _made).by_year if _odds else None
    return brief.make(_made, city=session.tables().name, made=_day, others=_others, chances=chances, last_year=_last,
                      season=season)


def _more(made: plan.Plan) -> tuple[pd.DataFrame | None, bool]:
    """What can be added: last year's program, to set beside what was done, and the odds of the risks page."""
    with st.expander("Last year's program, and the odds of overruns"):
        upload = st.file_uploader("The program as it was decided a year ago (its program.csv)", type=["csv", "xlsx"],
                                  key="last_year_file")
        last = None
        if upload is not None:
            try:
                raw = reading.open_table(upload.name, upload.getvalue(), table="commitments")
                found = reading.read_commitments(raw, None, made.prepared.network["block_id"].tolist(),
                                                 range(1850, 2151))
                last = found.table
                uploads.show_problems(found.problems)
            except UnusableInput as error:
                uploads.show_problems(as_table(error.problems, Problem))
        odds = st.toggle("Draw the program a thousand times for the odds of overruns", key="brief_odds",
                         help="Takes a while, unless it was done under Program and scenarios, Uncertainty.")
    return last, odds


def _files(shown: Brief) -> None:
    left, right, third = st.columns(3)
    left.download_button("Council brief (PDF, letter)", lambda: paper.pdf(shown), "council_brief.pdf",
                         "application/pdf", type="primary", on_click="ignore")
    right.download_button("Council brief (PDF, A4)", lambda: paper.pdf(shown, paper="A4"), "council_brief_a4.pdf",
                          "application/pdf", on_click="ignore")
    third.download_button("List of streets (PDF)", lambda: paper.streets_pdf(shown), "streets.pdf", "application/pdf",
                          on_click="ignore")


def _find(shown: Brief) -> None:
    """What happens to a street, block by block, by a part of its name."""
    wanted = st.text_input("Find a street", placeholder="A street's name, or a part of it", key="brief_find")
    words = wanted.casefold().split()
    if not words:
        return
    rows = shown.streets
    names = rows[["street", "from_street", "to_street"]].fillna("").astype(str)
    # The street itself first; only where no street has the name are the streets that it crosses looked through.
    own = names["street"].str.casefold().map(lambda name: all(word in name for word in words))
    crossing = names.agg(" ".join, axis=1).str.casefold().map(lambda name: all(word in name for word in words))
    found = rows[own] if own.any() else rows[crossing]
    if found.empty:
        st.info(session.plain(f"No street has '{wanted}' in its name. Write a part of the name, such as its first "
                              "letters."))
        return
    if not own.any():
        st.caption("No street of this name is in the list; these blocks end at it.")
    for row in found.head(_MOST_FOUND).to_dict("records"):
        _told(row)
    if len(found) > _MOST_FOUND:
        st.caption(f"and {len(found) - _MOST_FOUND:,} more blocks; write more of the name to see them")


def _told(row: dict[str, object]) -> None:
    where = place(row["street"], row["from_street"], row["to_street"])
    if known(row["district"]):
        where = f"{where} ({row['district']})"
    what = "No work is planned. "
    if known(row["year"]):
        what = f"{row['year']:.0f}: {row['work']}, {money(row['cost_usd'])}. "
    st.markdown(f"**{session.plain(where)}**  \n{session.plain(what)}{session.plain(str(row['reason']))}")


def _page(page: Page) -> None:
    """One question with its answer."""
    st.subheader(session.plain(page.title), anchor=False)
    st.markdown(f"**{session.plain(page.lead)}**")
    _figures(page.figures)
    if page.chart is not None:
        st.plotly_chart(figure(page.chart), key=f"brief_chart_{page.key}", alt=page.chart.about)
        st.caption(session.plain(page.chart.about))
    for words in page.text:
        st.write(session.plain(words))
    for at, grid in enumerate(page.grids):
        _grid(grid, f"brief_grid_{page.key}_{at}")
    for note in page.notes:
        st.caption(session.plain(note))


def _figures(figures: tuple[Figure, ...]) -> None:
    """Cards as even as they go; a value that is long is not cut, as it would be in a metric."""
    if not figures:
        return
    rows = -(-len(figures) // _ACROSS)
    across = -(-len(figures) // rows)
    for start in range(0, len(figures), across):
        for column, card in zip(st.columns(across), figures[start:start + across], strict=False):
            with column.container(border=True, height="stretch"):
                st.markdown(f"#### {session.plain(card.value)}\n{session.plain(card.words)}")
                if card.about:
                    st.caption(session.plain(card.about))


def _grid(grid: Grid, key: str) -> None:
    if grid.title:
        st.markdown(f"**{session.plain(grid.title)}**")
    if not grid.rows:
        st.write(session.plain(grid.empty))
        return
    rows = [*grid.rows, *([grid.total] if grid.total else [])]
    if len(rows) <= _WHOLE:
        # A table of plain HTML, for sentences must not be cut.
        table = pd.DataFrame([[session.plain(text) for text in row] for row in rows],
                             columns=[session.plain(words) for words in grid.head])
        st.table(table, hide_index=True, border="horizontal", alt=grid.title)
        return
    table = pd.DataFrame(rows, columns=[str(at) for at in range(len(grid.head))])
    st.dataframe(table, hide_index=True, width="stretch", key=key, alt=grid.title, column_config={
        str(at): st.column_config.TextColumn(words, alignment="right" if at in grid.right else "left")
        for at, words in enumerate(grid.head)})


def _district(shown: Brief) -> None:
    if not shown.districts:
        st.info("The table of blocks names no district.")
        return
    titles = [page.title for page in shown.districts]
    at = st.selectbox("District", range(len(titles)), key=f"brief_district_{len(titles)}",
                      format_func=lambda place: titles[place])
    _page(shown.districts[at])


def _streets(shown: Brief) -> None:
    st.subheader("Every street: the year, the work and the reason", anchor=False)
    if shown.street_note:
        st.write(session.plain(shown.street_note))
    st.dataframe(shown.streets, hide_index=True, width="stretch", height=560, key="brief_streets", placeholder="",
                 column_order=["street", "from_street", "to_street", "district", "year", "work", "cost_usd", "reason"],
                 column_config={
        "street": "Street", "from_street": "From", "to_street": "To", "district": "District", "work": "Work",
        "year": st.column_config.NumberColumn("Year", format="%d"),
        "cost_usd": st.column_config.NumberColumn("Likely cost", format="$%,.0f"),
        "reason": st.column_config.TextColumn("Why", width="large")})


def _words(shown: Brief) -> None:
    st.subheader("Words used in this brief", anchor=False)
    for term, meaning in shown.words:
        st.markdown(f"**{session.plain(term)}**: {session.plain(meaning)}")


def _appendix(shown: Brief) -> None:
    if not shown.appendix:
        st.info("This brief has no appendix.")
    for page in shown.appendix:
        _page(page)


main()
