"""The table of distresses against the published tables it rests on, and that it decides for every defect read."""

import io

import openpyxl
import pandas as pd
import pytest

from rehab.base import tables
from rehab.inputs.assumptions import FOLDER, defaults
from rehab.inputs.reading import open_table, read_blocks, read_defects, template_workbook
from rehab.inputs.reading.defects import ungraded
from rehab.inputs.reading.values import plain_word, word_list

RULES = defaults().table("distresses")
SOURCES = defaults().sources
BLOCKS = b"block_id,length_ft,width_ft,panel_length_ft,panel_width_ft,condition_index\nB1,400,36,15,12,50\n"


def ours(word: str) -> str:
    """The kind of defect that a surveyor's word is read as."""
    return word_list("defect", tables.DEFECTS)[str(plain_word(pd.Series([word])).iloc[0])]


def call(defect: str, severity: str = "any", step_in: float = 0.0) -> str:
    """What the deciding row says for a step across the defect."""
    row = RULES.loc[f"{ours(defect)}/{severity}"]
    unmet = row["step_from_in"] != "" and step_in < float(row["step_from_in"])
    return str(row["otherwise"] if unmet else row["value"])


# FHWA, "Full-Depth Repairs" (web guide), Table 1: least severity that calls for full depth, with its faulting in
# inches.  Blow-up and punchout are rows of the continuously reinforced part.
@pytest.mark.parametrize(("defect", "least", "step_in"), [
    ("Corner break", "low", 0.0),
    ("Patch deterioration", "medium", 0.0),
    ("Joint deterioration", "medium", 0.25),
    ("Reactive aggregate", "medium", 0.0),
    ("Transverse crack", "medium", 0.25),
    ("Longitudinal crack", "high", 0.5),
    ("Blowup", "low", 0.0),
    ("Punchout", "medium", 0.25),
])
def test_least_severity_for_full_depth(defect: str, least: str, step_in: float) -> None:
    grades = list(tables.SEVERITIES)
    for severity in grades[grades.index(least):]:
        assert call(defect, severity, step_in) == "full depth"
    for severity in grades[:grades.index(least)]:
        assert call(defect, severity, 9.0) != "full depth"
    if step_in:
        assert call(defect, least, step_in - 0.01) != "full depth"
        assert float(RULES.at[f"{ours(defect)}/{least}", "step_from_in"]) == step_in


@pytest.mark.parametrize(("defect", "severity", "expected"), [
    # FHWA full2 (web guide): transverse cracks of high severity are candidates without more.
    ("transverse crack", "high", "full depth"),
    # TxDOT Pavement Manual, chapter 10 section 2: shattered slabs full depth, plastic-shrinkage cracks not.
    ("shattered slab", "low", "full depth"), ("shattered slab", "high", "full depth"),
    ("plastic shrinkage cracks", "any", "watch"),
    # FP2, partial-depth repair: low-severity spalling, small scaled areas (under 15 % of the slab: standard's medium).
    ("joint spall", "low", "partial depth"), ("corner spall", "low", "partial depth"),
    ("scaling", "medium", "partial depth"),
    # FHWA, "Partial-Depth Repairs", chapter 1: spalls where load transfer is not the trouble.
    ("joint spall", "medium", "partial depth"), ("corner spall", "high", "partial depth"),
    # TxDOT, stitching: a longitudinal crack that does not widen is only sealed; Concrete Alberta: cracks in reasonably
    # good slabs are cross-stitched.
    ("longitudinal crack", "low", "fill"), ("longitudinal crack", "medium", "stitch"),
    # City of Seattle, 2009: a cracked panel is kept while the crack does not spread or shift.
    ("transverse crack", "low", "fill"), ("linear crack", "medium", "fill"),
    # UFC 3-270-04, chapter 6: panels settled but not broken are raised.
    ("settled panel", "medium", "jack"),
    # Concrete Pavement Preservation Guide, from memory: durability cracking from medium.
    ("D-cracking", "low", "watch"), ("D-cracking", "medium", "full depth"),
    # ASTM D6433, joint seal damage, from memory: medium is to be resealed within two years, high now.
    ("joint seal damage", "low", "watch"), ("joint seal damage", "medium", "reseal"),
    ("joint seal damage", "high", "reseal"),
    # Common practice, no source.
    ("hollow area", "any", "partial depth"), ("manhole", "low", "watch"), ("manhole", "medium", "adjust"),
    ("manhole", "high", "box out"), ("pumping", "any", "stabilise"), ("polished aggregate", "any", "grind"),
])
def test_calls_as_published(defect: str, severity: str, expected: str) -> None:
    assert call(defect, severity) == expected


# FP2, load transfer restoration: dowels are retrofitted where faulting is 0.12 to 0.5 in.  The standard's medium
# faulting begins at 3/8 in (ASTM D6433, from memory), which lies within; its high, over 3/4 in, does not.
def test_retrofit_keeps_within_its_published_range() -> None:
    assert call("faulting", "medium") == "restore load transfer"
    assert 0.12 <= float(RULES.at["faulting/any", "step_from_in"]) <= 0.5
    assert (call("faulting", "any", 0.1), call("faulting", "any", 0.4)) == ("grind", "restore load transfer")
    assert call("faulting", "high", 0.8) != "restore load transfer"


# Limits in millimetres: cracks in plain slabs and what is small are read in UFC 3-270-08 Appendix B (linear cracking,
# small patch, corner spall) and ASTM D6433 Appendix X2; drop-off in UFC 3-270-08 B-14; popouts in its airfield cousin
# UFC 3-270-05; faulting, corner and joint spalling in D6433 and the federal crack and spall widths
# (FHWA-HRT-13-092) from memory.
@pytest.mark.parametrize(("key", "limits"), [
    ("linear crack/low", ["13 mm (1/2 in)", "no step"]), ("linear crack/medium", ["13 to 50 mm (1/2 to 2 in)", "10 mm (3/8 in)"]),
    ("linear crack/high", ["over 50 mm (2 in)", "over 10 mm (3/8 in)"]),
    ("small patch/low", ["0.5 m2 (5.5 sq ft)"]), ("corner spall/low", ["130 mm (5 in)", "25 mm (1 in)"]),
    ("lane drop-off/medium", ["50 to 100 mm (2 to 4 in)"]), ("lane drop-off/high", ["100 mm (4 in)"]),
    ("popouts/any", ["25 to 100 mm", "13 to 50 mm", "no severity"]),
    ("faulting/low", ["3 to 10 mm (1/8 to 3/8 in)"]), ("faulting/high", ["20 mm (3/4 in)"]),
    ("transverse crack/medium", ["3 to 6 mm", "75 mm"]), ("longitudinal crack/medium", ["3 to 13 mm", "75 mm"]),
    ("joint spall/medium", ["75 to 150 mm", "100 mm (4 in)"]), ("joint spall/high", ["over 150 mm"]),
    ("durability cracking/high", ["15 %"]), ("broken panel/low", ["4 pieces or more"]),
])
def test_limits_as_published(key: str, limits: list[str]) -> None:
    for limit in limits:
        assert limit in RULES.at[key, "limits"]


# The standard's concrete types carry the numbers 21 to 39 (numbers from memory; "28 linear cracking" and "nineteen
# types" are read in UFC 3-270-08, pages 3-10 and B-1).
STANDARD = {
    21: "Blow-up/Buckling", 22: "Corner Break", 23: "Divided Slab", 24: 'Durability ("D") Cracking', 25: "Faulting",
    26: "Joint Seal Damage", 27: "Lane/Shoulder Drop-Off", 28: "Linear Cracking",
    29: "Patching, Large, and Utility Cuts", 30: "Patching, Small", 31: "Polished Aggregate", 32: "Popouts",
    33: "Pumping", 34: "Punch-out", 35: "Railroad Crossing", 36: "Scaling/Map Cracking/Crazing",
    37: "Shrinkage Cracks", 38: "Spalling, Corner", 39: "Spalling, Joint",
}
#: those that the standard does not grade: shrinkage cracks and popouts read, pumping and polish from memory
UNGRADED = {"shrinkage crack", "popouts", "pumping", "polished aggregate"}


def test_nineteen_types_by_name_and_number_are_nineteen_kinds() -> None:
    kinds = [ours(name) for name in STANDARD.values()]
    assert len(set(kinds)) == 19
    assert [ours(str(number)) for number in STANDARD] == kinds
    assert [ours(f"{number}. {name}") for number, name in STANDARD.items()] == kinds
    for kind in kinds:
        graded = [f"{kind}/{severity}" in RULES.index for severity in tables.SEVERITIES]
        assert all(graded) != (kind in UNGRADED)
        assert any(graded) != (kind in UNGRADED)


# FHWA-HRT-13-092, chapter 2, jointed concrete; the list after map cracking from memory.
@pytest.mark.parametrize(("name", "kind"), [
    ("Corner Breaks", "corner break"), ("D-Cracking", "durability cracking"),
    ("Durability Cracking", "durability cracking"), ("Longitudinal Cracking", "longitudinal crack"),
    ("Transverse Cracking", "transverse crack"), ("Transverse Joint Seal Damage", "joint seal damage"),
    ("Longitudinal Joint Seal Damage", "joint seal damage"), ("Spalling of Longitudinal Joints", "joint spall"),
    ("Spalling of Transverse Joints", "joint spall"), ("Map Cracking", "map cracking"), ("Scaling", "scaling"),
    ("Polished Aggregate", "polished aggregate"), ("Popouts", "popouts"), ("Blowups", "blow-up"),
    ("Faulting of Transverse Joints and Cracks", "faulting"), ("Lane-to-Shoulder Dropoff", "lane drop-off"),
    ("Lane-to-Shoulder Separation", "lane separation"), ("Patch/Patch Deterioration", "patch"),
    ("Water Bleeding and Pumping", "pumping"),
])
def test_types_of_the_federal_manual(name: str, kind: str) -> None:
    assert ours(name) == kind


def test_every_defect_that_can_be_read_has_exactly_one_deciding_row() -> None:
    combinations = [(defect, severity) for defect in tables.DEFECTS for severity in ("", *tables.SEVERITIES)]
    rows = pd.DataFrame([{"block_id": "B1", "panel_row": number % 27 + 1, "panel_column": 1, "defect": defect,
                          "severity": severity, "x_ft": 1, "y_ft": 1}
                         for number, (defect, severity) in enumerate(combinations)])
    reading = read_defects(open_table("defects.csv", rows.to_csv(index=False).encode()), None,
                           read_blocks(open_table("blocks.csv", BLOCKS)).table)
    keys = reading.table["defect"] + "/" + reading.table["severity"].fillna("any")
    assert set(keys) == set(RULES.index)
    assert RULES.index.is_unique
    stopped = (reading.problems["severity"] == "stop").sum()
    assert stopped == sum(f"{defect}/any" not in RULES.index for defect in tables.DEFECTS)


def test_every_row_is_whole() -> None:
    for key, row in RULES.iterrows():
        assert key == f"{row['defect']}/{row['severity'] or 'any'}"
        assert row["defect"] in tables.DEFECTS
        assert row["severity"] in ("", *tables.SEVERITIES)
        assert row["value"] in tables.CALLS
        assert row["unit"] == "call"
        assert (row["step_from_in"] == "") == (row["otherwise"] == "")
        if row["otherwise"]:
            assert row["otherwise"] in tables.CALLS
            assert 0 < float(row["step_from_in"]) < 12
            # What a step calls for is heavier than what is done without it.
            assert tables.CALLS.index(row["value"]) < tables.CALLS.index(row["otherwise"])
        assert row["limits"]
        if SOURCES.at[row["source_id"], "status"] == "from memory":
            assert "from memory" in row["note"] + row["limits"]


def test_a_worse_grade_never_calls_for_less() -> None:
    for defect in tables.DEFECTS:
        for step_in in (0.0, 0.25, 0.5, 1.0):
            rank = [tables.CALLS.index(call(defect, severity, step_in)) for severity in tables.SEVERITIES
                    if f"{defect}/{severity}" in RULES.index]
            assert rank == sorted(rank, reverse=True), (defect, step_in)


def test_kinds_that_need_no_severity_are_those_with_a_row_for_any() -> None:
    alone, never = ungraded()
    assert alone == {defect for defect in tables.DEFECTS if f"{defect}/any" in RULES.index}
    assert never == alone - {defect for defect in tables.DEFECTS if f"{defect}/low" in RULES.index}


def test_no_alias_hides_a_kind_of_our_own() -> None:
    rows = pd.read_csv(FOLDER / "value_words.csv", dtype=str, keep_default_na=False)
    for column, choices in (("defect", tables.DEFECTS), ("severity", tables.SEVERITIES)):
        aliases = rows[rows["ours"] == column]
        assert set(aliases["value"]) <= set(choices)
        assert plain_word(aliases["word"]).tolist() == aliases["word"].tolist()  # as words are looked up
        own = dict(zip(plain_word(pd.Series(choices)), choices, strict=True))
        for word, value in zip(aliases["word"], aliases["value"], strict=True):
            assert own.get(word, value) == value


def test_the_template_lists_every_kind() -> None:
    book = openpyxl.load_workbook(io.BytesIO(template_workbook()))
    sheet = book["Defects"]
    letter = next(cell.column_letter for cell in sheet[1] if cell.value == "defect")
    rule = next(item for item in sheet.data_validations.dataValidation if str(item.sqref).startswith(f"{letter}2"))
    name, cells = str(rule.formula1).lstrip("=").split("!")
    assert [cell.value for row in book[name][cells.replace("$", "")] for cell in row] == list(tables.DEFECTS)
