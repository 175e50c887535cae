"""One block from defect to dollar, link by link, and its panel plan."""

from __future__ import annotations

from functools import cache

import pandas as pd
import streamlit as st

from pages import session
from rehab.base.tables import WORK, fields
from rehab.outputs import charts
from rehab.outputs.words import heading, label, money, number, price, unit
from rehab.plan import Plan, Prepared, trace
from rehab.steps import estimate, layout


def show_plan(made: Plan, block_id: str) -> None:
    """The scaled panel plan: on screen, and as PDF and SVG to take along."""
    prepared = made.prepared
    found, cut = (table[table["block_id"] == block_id] for table in (prepared.findings, prepared.repairs))
    if found.empty:
        st.info("No panel survey of this block: its needs come from counts or an index, so no repair has a place.")
        return
    # Drawing takes a library of its own, which the start of the dashboard need not wait for.
    from rehab.outputs import drawings
    from rehab.outputs.shapes import bearing_deg

    row = prepared.network.set_index("block_id", drop=False).loc[block_id]
    drawing = drawings.panel_plan(row, found, cut, bearing_deg=bearing_deg(session.tables().geometry, block_id))
    strategy = str(made.strategies.set_index("block_id").loc[block_id, "strategy"])
    if strategy != "full_depth":
        st.caption(f"By today's condition: {label(strategy)}. The plan shows every repair the survey calls for, as "
                   "full-depth repair of the block would cut them.")
    st.image(drawings.as_svg(drawing), width="stretch")
    with st.expander("The plan in words"):
        st.write(session.plain(drawing.about))
    left, right = st.columns(2)
    left.download_button("Panel plan as PDF", lambda: drawings.as_pdf(drawing), f"{block_id}.pdf", on_click="ignore")
    right.download_button("Panel plan as SVG", lambda: drawings.as_svg(drawing), f"{block_id}.svg", on_click="ignore")


def show_chain(made: Plan, block_id: str) -> None:
    """Survey, rule, repair, need, quantity, price, cost: every link with what made it."""
    prepared = made.prepared
    row = prepared.network.set_index("block_id").loc[block_id]
    st.markdown("**1. What the survey holds and what it calls for**")
    _found(trace.found(prepared, block_id))
    cut = trace.cut(prepared, block_id)
    if len(cut):
        st.markdown("**2. Repairs on the panel grid, and the rules that shaped them**")
        _cut(cut)
        near = layout.join_distances(row, prepared.assumptions)
        used = prepared.assumptions.text("layout_rules", "full.join")
        st.caption(f"Two full-depth repairs of one column are joined under: {number(near['published'])} ft as "
                   f"published (from memory), {number(near['unit prices'])} ft by the unit prices; in use: {used}. "
                   + _bars(prepared, cut))
    st.markdown(f"**{3 if len(cut) else 2}. Needs of the block**")
    needed = trace.needed(prepared, block_id)
    st.dataframe(pd.DataFrame({"Need": needed["about"], "Amount": [number(value, 3) for value in needed["amount"]],
                               "Unit": needed["unit"].map(unit), "Where it comes from": needed["by"]}),
                 hide_index=True, width="stretch", placeholder="")
    st.markdown(f"**{4 if len(cut) else 3}. Quantities, prices and cost today**")
    own = str(made.strategies.set_index("block_id").loc[block_id, "strategy"])
    adequate = str(made.strategies.set_index("block_id").loc[block_id, "alternatives"]).split("; ")
    names = [name for name in WORK if name == own or name in adequate]
    if not names:
        st.write("No work is due, so there is nothing to price.")
        return
    picked = names[0]
    if len(names) > 1:
        picked = st.radio("Strategy", names, index=names.index(own) if own in names else 0, format_func=label,
                          horizontal=True, key=f"chain_{block_id}")
    _priced(made, block_id, picked, str(row["condition_source"]))
    costs = made.costs[made.costs["block_id"] == block_id]
    st.plotly_chart(charts.cost_chart(costs), key=f"cost_{block_id}", alt=charts.describe_cost(costs))


def _found(found: pd.DataFrame) -> None:
    if "defect" not in found:
        needs = ["; ".join(_about(need) for need in becomes) for becomes in found["becomes"]]
        st.dataframe(pd.DataFrame({
            "Measure": [_about(name) for name in found["measure"]],
            "Value": [number(value, 2) if isinstance(value, float) else str(value) for value in found["value"]],
            "Unit": found["unit"].map(unit), "Becomes": needs}), hide_index=True, width="stretch")
        return
    st.dataframe(pd.DataFrame({
        "No.": found["defect_id"], "Panel": [f"{row}, {column}" for row, column in
                                             zip(found["panel_row"], found["panel_column"], strict=True)],
        "Seen": found["defect"], "Severity": found["severity"].fillna("not graded"),
        "From, ft": found["x0_ft"].round(1), "To, ft": found["x1_ft"].round(1),
        "Left, ft": found["y0_ft"].round(1), "Right, ft": found["y1_ft"].round(1), "Depth, in": found["depth_in"],
        "Calls for": found["call"], "Rule": found["why"], "Repair No.": found["repair_ids"].fillna(""),
        "Stays, ft": found["left_ft"].round(1)}), hide_index=True, width="stretch", height=300, placeholder="")


def _bars(prepared: Prepared, cut: pd.DataFrame) -> str:
    """Dowels and tie bars in words: length, holes and how they are set."""
    thick = cut["dowel_diameter_in"].max()
    if not thick > 0:
        return "No dowels."
    rows = prepared.assumptions.table("dowels")["value"]
    return (f"Dowels {rows['length_in']} in long and {number(thick, 4)} in thick, half in the old concrete, "
            f"holes {number(layout.hole_in(thick, prepared.assumptions), 4)} in and grouted, from {rows['edge_in']} "
            f"in off the edge, {rows['spacing_in']} in apart; tie bars {rows['tie.length_in']} in long, "
            f"{rows['tie.spacing_in']} in apart in repairs from {rows['tie.from_length_ft']} ft on.")


@cache
def _about(column: str) -> str:
    """What a need or a size of the block is, in the words of the data dictionary."""
    about = {item.name: item.about for table in ("network", "needs") for item in fields(table)}
    return about.get(column, heading(column)).partition(";")[0]


def _cut(cut: pd.DataFrame) -> None:
    st.dataframe(pd.DataFrame({
        "No.": cut["repair_id"], "Kind": cut["kind"], "Takes out": cut["cause"],
        "Station, ft": cut["x_ft"].round(2), "Offset, ft": cut["y_ft"].round(2),
        "Length, ft": cut["length_ft"].round(2), "Width, ft": cut["width_ft"].round(2),
        "Depth, in": cut["depth_in"].round(2), "Area, sq ft": cut["area_sqft"].round(2),
        "Paid, sq ft": cut["pay_sqft"].round(2), "Dowels": cut["dowels"], "Diameter, in": cut["dowel_diameter_in"],
        "In baskets": cut["basket_dowels"], "Tie bars": cut["tie_bars"], "Saw cut, ft": cut["saw_ft"].round(2),
        "Joint, ft": cut["joint_ft"].round(2), "Insert, ft": cut["insert_ft"].round(2), "Shaped by": cut["rules"]}),
        hide_index=True, width="stretch", height=300, placeholder="")


def _priced(made: Plan, block_id: str, strategy: str, detail: str) -> None:
    prepared = made.prepared
    lines = trace.priced(made, block_id, strategy)
    st.dataframe(pd.DataFrame({
        "Item": lines["name"], "Measured by": ["; ".join(_about(name) for name in names)
                                               for names in trace.measures_used(prepared, block_id, strategy, lines)],
        "Waste": [number(value, 2) if value != 1 else "" for value in lines["waste"]],
        "Quantity": [number(value, 2) for value in lines["quantity"]], "Unit": lines["unit"].map(unit),
        "Unit price": [price(value) if paid else "" for value, paid in
                       zip(lines["unit_price_usd"], lines["priced"], strict=True)],
        "Amount": lines["amount_usd"].map("${:,.2f}".format, na_action="ignore"),
        "Price is inside": lines["carried_by"], "Price from": lines["price_source"]}),
        hide_index=True, width="stretch", placeholder="")
    steps = estimate.steps(float(lines["amount_usd"].sum()), prepared.start_year, prepared.assumptions, detail)
    st.dataframe(pd.DataFrame({"Estimate": steps["line"], "Dollars": steps["usd"].map("${:,.2f}".format)}),
                 hide_index=True, width="stretch")
    spread = float(estimate.quantity_range(prepared.assumptions, detail))
    st.caption(f"Estimate {estimate.estimate_class(detail)}: quantities within {100 * spread:.0f} % and the low and "
               f"high unit prices make the range. Likely {money(steps['usd'].iloc[-1])}.")
