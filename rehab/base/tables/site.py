"""What goes to the street and comes back from it: orders by week, and quantities and repairs as they were done."""

from __future__ import annotations

from typing import Final

from rehab.base.tables.fields import REPAIRS, Field, all_required, choice, number, text, whole

#: headings of the cells of a work list that a crew fills in -> column of what is read back
ENTRIES: Final = {
    "quantities": {"Actual quantity": "quantity"},
    "repairs": {"Actual length, ft": "length_ft", "Actual width, ft": "width_ft", "Actual depth, in": "depth_in"},
}
#: kinds of things that are ordered for a week
ORDERED: Final = ("material", "equipment")

_KEY = all_required(text("block_id", "Block"), Field("year", "key", "Year", "year"))
_FROM = (text("sheet", "Sheet of the workbook it was read from"), whole("row", "Row of that sheet", 1))
_ITEM = all_required(text("pay_item", "Pay item"), text("unit", "Unit of the quantity"))

SITE: Final[dict[str, tuple[Field, ...]]] = {
    "orders": (
        Field("week", "date", "Monday of the week in which it is needed; missing for work that is on no calendar"),
        choice("kind", ORDERED, "Material or equipment", required=True), text("item", "What is ordered", required=True),
        text("unit", "Unit of the quantity", required=True), number("quantity", "", "How much, waste with it",
                                                                     required=True),
        number("estimated", "", "The part of it that rests on estimated needs", required=True),
        text("why", "Pay items or tasks that it is for", required=True),
    ),
    "measured": (*_KEY, text("pay_item", "Pay item", required=True),
                 number("quantity", "", "Actual quantity, in the unit of the pay item", required=True), *_FROM),
    "measured_repairs": (*_KEY, whole("repair_id", "Repair", 1, required=True),
                         number("length_ft", "ft", "Actual length"), number("width_ft", "ft", "Actual width"),
                         number("depth_in", "in", "Actual depth"), *_FROM),
    "overruns": (
        *_KEY, *_ITEM, *all_required(
            number("planned", "", "Quantity in the plan"), number("actual", "", "Quantity as measured"),
            number("planned_usd", "usd", "Likely cost in the plan with mark-ups; 0 for an item priced inside others"),
            number("actual_usd", "usd", "The same at the actual quantity"),
            number("change_usd", "usd", "Actual less planned", None)),
        number("change_share", "share", "Actual less planned as a share of planned; missing where nothing was planned",
               None),
        Field("measured", "flag", "Whether it was measured, or else stands as planned", required=True),
    ),
    "repair_changes": (
        *_KEY, whole("repair_id", "Repair", 1, required=True), choice("kind", REPAIRS, "Kind of repair", required=True),
        *all_required(number("planned_sqft", "sqft", "Area in the plan"),
                      number("actual_sqft", "sqft", "Area as measured"),
                      number("change_sqft", "sqft", "Actual less planned", None)),
        number("planned_cuft", "cuft", "Volume in the plan"),
        number("actual_cuft", "cuft", "Volume as measured; missing where no depth was written down"),
    ),
}
