"""The map of blocks, drawn with no internet: block lines in a Leaflet that travels inside the page.

A map is built anew at every drawing, because the viewer changes the object it is given; what may be kept
between drawings are :func:`lines` and the GeoJSON dictionary of :func:`features`.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Mapping
from functools import lru_cache
from html import escape
from math import ceil
from pathlib import Path
from typing import Any, Final, NamedTuple

import folium
import numpy as np
import pandas as pd
from branca.element import Element, MacroElement
from folium.template import Template

from rehab.base.tables import STRATEGIES
from rehab.outputs import shapes
from rehab.outputs.palette import NO_DATA, PLAIN, SCALE, SCALE_WIDTHS, STRATEGY, Stroke
from rehab.outputs.words import count, known, label, money, number, place

#: what a map can be coloured by -> the column of the overview that it shows
COLOURINGS: Final[dict[str, str]] = {
    "strategy": "strategy", "year of work": "program_year", "condition": "index",
    "life extension": "life_extension_yr", "year of grinding": "ground_year",
}

_VENDOR: Final = Path(__file__).parents[2] / "data" / "vendor" / "leaflet"
_DECIMALS: Final = 6  #: a tenth of a metre, finer than a line on a screen
_MANY: Final = 1 << 16  #: lines of words that are kept
_HALO: Final = Stroke("#1f8f94", 16.0, "")
_LOOK: Final = (
    ".leaflet-container{background:#fbfaf7}"
    ".leaflet-tooltip{white-space:normal;width:max-content;max-width:17rem}"
    "@media (prefers-color-scheme: dark){.leaflet-container{background:#1b1f22}}"
)


def _data_url(content: bytes, kind: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"


class OfflineMap(folium.Map):
    """A folium map whose Leaflet is inside the page and which asks no host for anything."""

    default_js: list[tuple[str, str]] = [  # noqa: RUF012
        ("leaflet", _data_url((_VENDOR / "leaflet.js").read_bytes(), "text/javascript")),
    ]
    default_css: list[tuple[str, str]] = [  # noqa: RUF012
        ("leaflet_css", _data_url((_VENDOR / "leaflet.css").read_bytes(), "text/css")),
        ("look_css", _data_url(_LOOK.encode(), "text/css")),
    ]


class LegendRow(NamedTuple):
    """One line of the legend: words, colour, dash as in SVG ('' is solid), width in pixels."""

    label: str
    colour: str
    dash: str
    width: float


class _Classes(NamedTuple):
    """The class of each block as a position in ``rows``."""

    codes: np.ndarray[Any, np.dtype[np.int64]]
    rows: list[tuple[str, Stroke]]


def block_map(overview: pd.DataFrame, geometry: pd.DataFrame, colour_by: str, *, base_tiles: bool = False,
              selected: str | None = None, highlight_year: int | None = None) -> OfflineMap:
    """A map of the blocks that have geometry, one GeoJSON layer, fitted to its lines.

    ``colour_by`` is a key of :data:`COLOURINGS`.  ``selected`` gets a halo; with ``highlight_year`` the
    blocks of other years fade.  ``base_tiles`` adds OpenStreetMap behind, which needs the internet.  Each
    feature carries its block as property ``id``.
    """
    collection = features(overview, lines(geometry), colour_by, selected=selected, highlight_year=highlight_year)
    return draw(collection, base_tiles=base_tiles)


def draw(collection: dict[str, Any], *, base_tiles: bool = False) -> OfflineMap:
    """A new map of a GeoJSON dictionary from :func:`features`."""
    drawn = ground(collection, base_tiles=base_tiles)
    if collection["features"]:
        layer(collection).add_to(drawn)
    return drawn


def layer(collection: dict[str, Any]) -> folium.FeatureGroup:
    """The blocks alone, to be laid on a map that stays as it is."""
    group = folium.FeatureGroup(name="Blocks")
    _Lines(collection).add_to(group)
    return group


class _Lines(MacroElement):
    """Block lines as one short list that the browser makes features of: a city of ten thousand blocks is sent at once.

    A page of ready-made GeoJSON is twice as long and takes a second to write.  Names of streets are shown and never
    read as a template, whatever stands in them.
    """

    _template = Template("""
        {% macro script(this, kwargs) %}
        (function () {
            const given = {{ this.given }};
            const blocks = given.rows.map(([id, tip, style, type, coordinates]) => (
                {type: "Feature", properties: {id, tip, style: given.styles[style]}, geometry: {type, coordinates}}));
            L.geoJson(blocks, {smoothFactor: 0.5, style: block => block.properties.style})
                .bindTooltip(drawn => drawn.feature.properties.tip, {sticky: true})
                .addTo({{ this._parent.get_name() }});
        })();
        {% endmacro %}
    """)

    def __init__(self, collection: dict[str, Any]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "Lines"
        styles: dict[int, int] = {}  # features share their few styles
        held: list[dict[str, Any]] = []
        rows = []
        for feature in collection["features"]:
            own, line = feature["properties"], feature["geometry"]
            if id(own["style"]) not in styles:
                styles[id(own["style"])] = len(held)
                held.append(own["style"])
            rows.append((own["id"], own["tip"], styles[id(own["style"])], line["type"], line["coordinates"]))
        text = json.dumps({"styles": held, "rows": rows}, separators=(",", ":"))
        self.given = text.replace("<", "\\u003c")  # nothing in it can end the script

    def render(self, **kwargs: Any) -> str:
        """Put the script on the page as it is; the method of the library would read it as a template once more."""
        page: Any = self.get_root()
        written: Any = Element("{{ this.text }}")
        written.text = self._template.module.script(self, kwargs)
        page.script.add_child(written, name=self.get_name())
        return str(written.text)


def ground(collection: dict[str, Any], *, base_tiles: bool = False) -> OfflineMap:
    """A new map without blocks, fitted to the lines of a GeoJSON dictionary."""
    drawn = OfflineMap(tiles="OpenStreetMap" if base_tiles else None, attribution_control=base_tiles,
                       prefer_canvas=True, control_scale=True, zoom_snap=0.25, zoom_delta=0.5)
    if not collection["features"]:
        return drawn
    box = shapes.bounds([feature["geometry"] for feature in collection["features"]])
    if box:
        west, south, east, north = box
        drawn.fit_bounds([[south, west], [north, east]], padding=(10, 10))
    return drawn


def lines(geometry: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """The GeoJSON geometry of each block that has a line, as fine as a map draws it."""
    return shapes.lines(geometry, _DECIMALS)


def features(overview: pd.DataFrame, line: Mapping[str, dict[str, Any]], colour_by: str, *,
             selected: str | None = None, highlight_year: int | None = None) -> dict[str, Any]:
    """The blocks as a GeoJSON dictionary: properties ``id``, ``tip`` (escaped HTML) and ``style``.

    ``line``: from :func:`lines`.  Raises :class:`KeyError` for an unknown colouring.
    """
    column = COLOURINGS[colour_by]
    classes = _classes(overview, colour_by)
    ids = overview["block_id"].to_numpy(dtype=object)
    years = overview["ground_year" if column == "ground_year" else "program_year"].to_numpy(dtype=float)
    faded = (years != highlight_year) if highlight_year is not None else np.zeros(len(overview), bool)
    styles = [_style(stroke, opacity) for _, stroke in classes.rows for opacity in (0.95, 0.2)]
    chosen = classes.codes * 2 + faded
    rows = [_feature(block, line[block], tip, styles[style])
            for block, tip, style in zip(ids, _tips(overview), chosen.tolist(), strict=True) if block in line]
    halo = [{**row, "properties": {**row["properties"], "style": _style(_HALO, 0.55)}}
            for row in rows if row["properties"]["id"] == selected]
    return {"type": "FeatureCollection", "features": halo + rows}


def legend(overview: pd.DataFrame, colour_by: str) -> list[LegendRow]:
    """The rows of the legend, in the order of the scale, only classes that occur."""
    classes = _classes(overview, colour_by)
    present = sorted(set(classes.codes.tolist()))
    return [LegendRow(words, stroke.colour, stroke.dash, stroke.width)
            for words, stroke in (classes.rows[code] for code in present)]


def legend_html(overview: pd.DataFrame, colour_by: str) -> str:
    """The legend as one line of HTML."""
    return legend_line(legend(overview, colour_by))


def legend_line(rows: Iterable[LegendRow]) -> str:
    """Rows of a legend as one line of HTML: a drawn line and its words each, nothing loaded from anywhere."""
    items = "".join(
        '<span style="display:inline-flex;align-items:center;gap:.45em;white-space:nowrap">'
        f'<img alt="" width="44" height="12" src="{_swatch(row)}">{escape(row.label)}</span>'
        for row in rows
    )
    return f'<div style="display:flex;flex-wrap:wrap;gap:.3em 1.4em">{items}</div>'


def _swatch(row: LegendRow) -> str:
    """A drawn line as an image in a data URL: screens that clean HTML take drawings out of it, but leave images."""
    line = (f'<svg xmlns="http://www.w3.org/2000/svg" width="44" height="12"><line x1="1" y1="6" x2="43" y2="6" '
            f'stroke="{row.colour}" stroke-width="{row.width:g}" stroke-dasharray="{row.dash or "none"}"/></svg>')
    return _data_url(line.encode(), "image/svg+xml")


def describe_map(overview: pd.DataFrame, geometry: pd.DataFrame, colour_by: str) -> str:
    """One sentence that says what the map shows, for those who do not see it."""
    classes = _classes(overview, colour_by)
    sizes = np.bincount(classes.codes, minlength=len(classes.rows))
    parts = [f"{words}: {size:,}" for (words, _), size in zip(classes.rows, sizes, strict=True) if size]
    missing = unmapped(overview, geometry)
    tail = f"; {count(missing, 'block')} without geometry not drawn" if missing else ""
    drawn = count(len(overview) - missing, "block")
    return f"Map of {drawn} by {colour_by}. All blocks: {', '.join(parts)}{tail}."


def unmapped(overview: pd.DataFrame, geometry: pd.DataFrame) -> int:
    """Number of blocks that have no line to draw."""
    drawn = shapes.named(geometry)
    return sum(block not in drawn for block in overview["block_id"])


def _feature(block: str, line: dict[str, Any], tip: str, style: dict[str, Any]) -> dict[str, Any]:
    return {"type": "Feature", "geometry": line, "properties": {"id": block, "tip": tip, "style": style}}


def _style(stroke: Stroke, opacity: float) -> dict[str, Any]:
    style: dict[str, Any] = {"color": stroke.colour, "weight": stroke.width, "opacity": opacity}
    return {**style, "dashArray": stroke.dash, "lineCap": "butt"} if stroke.dash else style


def _tips(overview: pd.DataFrame) -> list[str]:
    """Three short lines per block; every word that came from a table is escaped, since Leaflet takes HTML."""
    columns = ("street", "from_street", "to_street", "strategy", "likely_usd", "index", "estimated",
               "program_year", "program_strategy", "program_cost_usd", "life_extension_yr", "block_id")
    rows = zip(*(overview[name].to_numpy(dtype=object) for name in columns), strict=True)
    return [_tip(*row) for row in rows]


def _tip(street: Any, start: Any, end: Any, strategy: str, cost: float, index: float, estimated: bool,
         year: float, planned: Any, planned_cost: float, gained: float, block: str) -> str:
    if known(year):
        work = f"{label(str(planned))} in {int(year)}, {money(planned_cost)}"
    elif strategy == "none":
        work = label(strategy)
    else:
        work = f"{label(strategy)}, {money(cost)}, not in the program"
    return f"{_where(street, start, end, block)}<br>{escape(work)}<br>{_state(index, strategy, gained, estimated)}"


# A changed program changes one of the three lines: the others are kept from map to map.


@lru_cache(_MANY)
def _where(street: Any, start: Any, end: Any, block: str) -> str:
    return escape(place(street, start, end) if known(street) else f"Block {block}")


@lru_cache(_MANY)
def _state(index: float, strategy: str, gained: float, estimated: bool) -> str:
    adds = "" if strategy == "none" else f", work adds {number(gained)} years"
    return escape(f"Condition {number(index, 0)}{adds}{' (estimated)' if estimated else ''}")


def _classes(overview: pd.DataFrame, colour_by: str) -> _Classes:
    column = COLOURINGS[colour_by]
    if column == "strategy":
        codes = np.array([STRATEGIES.index(name) for name in overview["strategy"]], dtype="int64")
        return _Classes(codes, [(label(name), STRATEGY[name]) for name in STRATEGIES])
    values = overview[column].to_numpy(dtype=float)
    if column == "index":
        words = ("80 to 100", "60 to 80", "40 to 60", "20 to 40", "Below 20")
        return _stepped(values, (80.0, 60.0, 40.0, 20.0), words, "Not known", NO_DATA)
    if column == "life_extension_yr":
        values = np.where(overview["strategy"].to_numpy(dtype=object) == "none", np.nan, values)
        words = ("20 years and more", "15 to 20 years", "10 to 15 years", "5 to 10 years", "Below 5 years")
        return _stepped(values, (20.0, 15.0, 10.0, 5.0), words, "None yet", PLAIN)
    without = "Not ground in the program" if column == "ground_year" else "No work in the program"
    return _yearly(values, without)


def _stepped(values: Any, edges: tuple[float, ...], words: tuple[str, ...], otherwise: str,
             absent: Stroke) -> _Classes:
    """Five classes from the good end to the bad, split at falling edges; an edge is in the better class."""
    codes = np.searchsorted(-np.array(edges), -values, side="left")
    codes = np.where(np.isnan(values), len(words), codes)
    strokes = [Stroke(colour, width, "") for colour, width in zip(SCALE, SCALE_WIDTHS, strict=True)]
    return _Classes(codes.astype("int64"), [*zip(words, strokes, strict=True), (otherwise, absent)])


def _yearly(values: Any, otherwise: str) -> _Classes:
    """Up to fifteen classes of one or more years: five colours, each with up to three dashes."""
    if np.isnan(values).all():
        return _Classes(np.zeros(len(values), "int64"), [(otherwise, PLAIN)])
    first, last = int(np.nanmin(values)), int(np.nanmax(values))
    dashes = ("", "9 4", "3 3")[:ceil((last - first + 1) / len(SCALE))]
    size = ceil((last - first + 1) / (len(dashes) * len(SCALE)))
    rows = []
    for step, start in enumerate(range(first, last + 1, size)):
        end = min(start + size - 1, last)
        stroke = Stroke(SCALE[step // len(dashes)], 4.5, dashes[step % len(dashes)])
        rows.append((f"{start} to {end}" if end > start else str(start), stroke))
    codes = np.where(np.isnan(values), len(rows), (np.nan_to_num(values, nan=first) - first) // size)
    return _Classes(codes.astype("int64"), [*rows, (otherwise, PLAIN)])
