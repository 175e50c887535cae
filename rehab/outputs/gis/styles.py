"""How the layers are drawn, as Styled Layer Descriptors, with the strokes of the map.

After OGC 02-070, Styled Layer Descriptor 1.0.0, from memory: the version that the most programs read.  Widths are
pixels.  What is told by colour is told by width, dash or hatch as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final
from xml.etree import ElementTree as ET

from rehab.base.tables import REPAIRS, STRATEGIES
from rehab.outputs.drawings.look import REPAIR
from rehab.outputs.palette import NO_DATA, SCALE, SCALE_WIDTHS, STRATEGY, Stroke
from rehab.outputs.words import label

_SLD: Final = "http://www.opengis.net/sld"
_OGC: Final = "http://www.opengis.net/ogc"
#: the steps of the condition index on the map, from the good end; an edge belongs to the better step
_STEPS: Final = ((80.0, None), (60.0, 80.0), (40.0, 60.0), (20.0, 40.0), (None, 20.0))
#: the well-known mark that fills each hatch of a drawing, and its size in pixels
_MARKS: Final = {"dots": ("circle", 4), "cross": ("x", 7)}


def styles() -> dict[str, str]:
    """The style of each spatial layer: layer -> XML."""
    kinds = [_rule(look.words, _equal("kind", kind), _area(look.colour, look.fill, look.hatch))
             for kind, look in ((kind, REPAIR[kind]) for kind in REPAIRS)]
    return {
        "blocks": _document("blocks", "Condition today", [*_condition(), _rule("Not known", None, _line(NO_DATA))]),
        "strategies": _document("strategies", "Strategy by today's condition", _strategies(STRATEGIES)),
        "program": _document("program", "Strategy in the program", _strategies(STRATEGIES[1:])),
        "repairs": _document("repairs", "Kind of repair", kinds),
    }


def _condition() -> Iterable[ET.Element]:
    for (low, high), colour, width in zip(_STEPS, SCALE, SCALE_WIDTHS, strict=True):
        words = f"{low:g} to {high or 100:g}" if low is not None else f"Below {high:g}"
        yield _rule(words, _between("index", low, high), _line(Stroke(colour, width, "")))


def _strategies(names: Sequence[str]) -> list[ET.Element]:
    return [_rule(label(name), _equal("strategy", name), _line(STRATEGY[name])) for name in names]


def _document(layer: str, title: str, rules: Iterable[ET.Element]) -> str:
    root = ET.Element("StyledLayerDescriptor", {"version": "1.0.0", "xmlns": _SLD, "xmlns:ogc": _OGC})
    named = _child(root, "NamedLayer")
    _child(named, "Name", layer)
    style = _child(named, "UserStyle")
    _child(style, "Name", layer)
    _child(style, "Title", title)
    _child(style, "IsDefault", "1")
    _child(style, "FeatureTypeStyle").extend(rules)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode")


def _rule(title: str, condition: ET.Element | None, symbol: ET.Element) -> ET.Element:
    """One rule; without a condition it takes what no other rule does."""
    rule = ET.Element("Rule")
    _child(rule, "Name", title)
    _child(rule, "Title", title)
    if condition is None:
        _child(rule, "ElseFilter")
    else:
        filtered = ET.SubElement(rule, "ogc:Filter")
        filtered.append(condition)
    rule.append(symbol)
    return rule


def _equal(column: str, value: str) -> ET.Element:
    return _compared("EqualTo", column, value)


def _between(column: str, low: float | None, high: float | None) -> ET.Element:
    """At least ``low`` and below ``high``, of which one may be missing."""
    parts = [_compared(word, column, f"{value:g}") for word, value in
             (("GreaterThanOrEqualTo", low), ("LessThan", high)) if value is not None]
    if len(parts) == 1:
        return parts[0]
    both = ET.Element("ogc:And")
    both.extend(parts)
    return both


def _compared(word: str, column: str, value: str) -> ET.Element:
    made = ET.Element(f"ogc:PropertyIs{word}")
    ET.SubElement(made, "ogc:PropertyName").text = column
    ET.SubElement(made, "ogc:Literal").text = value
    return made


def _line(stroke: Stroke) -> ET.Element:
    symbol = ET.Element("LineSymbolizer")
    _stroke(symbol, stroke)
    return symbol


def _area(colour: str, fill: str, hatch: str) -> ET.Element:
    symbol = ET.Element("PolygonSymbolizer")
    inside = _child(symbol, "Fill")
    if hatch in _MARKS:
        name, size = _MARKS[hatch]
        graphic = _child(_child(inside, "GraphicFill"), "Graphic")
        mark = _child(graphic, "Mark")
        _child(mark, "WellKnownName", name)
        _parameter(_child(mark, "Fill"), "fill", colour)
        _stroke(mark, Stroke(colour, 1.0, ""))
        _child(graphic, "Size", str(size))
    else:
        _parameter(inside, "fill", fill)
        _parameter(inside, "fill-opacity", "0.85")
    _stroke(symbol, Stroke(colour, 1.5, ""))
    return symbol


def _stroke(symbol: ET.Element, stroke: Stroke) -> None:
    made = _child(symbol, "Stroke")
    _parameter(made, "stroke", stroke.colour)
    _parameter(made, "stroke-width", f"{stroke.width:g}")
    if stroke.dash:
        _parameter(made, "stroke-dasharray", stroke.dash)


def _parameter(parent: ET.Element, name: str, value: str) -> None:
    made = _child(parent, "CssParameter", value)
    made.set("name", name)


def _child(parent: ET.Element, name: str, words: str | None = None) -> ET.Element:
    made = ET.SubElement(parent, name)
    made.text = words
    return made
