"""A drawing as SVG: one long figure, every repair and defect with its words, nothing fetched from elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from xml.sax.saxutils import escape, quoteattr

from rehab.outputs.drawings.lettering import SVG_FAMILY
from rehab.outputs.drawings.marks import Circle, Drawing, Group, Mark, Path, Pen, Rect, Words


def as_svg(drawing: Drawing) -> str:
    """The whole drawing as one SVG document, as high as it needs to be, in points.

    Groups carry their kind in ``class``, their number in ``data-number`` and their words in ``title``.  Styles stand
    on the elements themselves, so that several drawings can share a page.
    """
    width, height = _n(drawing.width), _n(drawing.height)
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}pt" height="{height}pt" '
             f'viewBox="0 0 {width} {height}" role="img" font-family={quoteattr(SVG_FAMILY)}>',
             f"<title>{escape(drawing.title)}</title>", f"<desc>{escape(drawing.about)}</desc>",
             f'<rect width="{width}" height="{height}" fill="#ffffff"/>']
    top = drawing.margin
    for band in drawing.bands:
        parts.append(f'<g class="{band.kind}-band" transform="translate(0 {_n(top)})">')
        parts += _marks(band.marks)
        parts.append("</g>")
        top += band.height
    return "\n".join([*parts, "</svg>"]) + "\n"


def _marks(marks: Iterable[Mark]) -> Iterator[str]:
    for mark in marks:
        if isinstance(mark, Group):
            number = "" if mark.number is None else f' data-number="{mark.number}"'
            yield f"<g class={quoteattr(mark.kind.replace(' ', '-'))}{number}><title>{escape(mark.about)}</title>"
            yield from _marks(mark.marks)
            yield "</g>"
        else:
            yield _one(mark)


def _one(mark: Rect | Circle | Path | Words) -> str:
    if isinstance(mark, Words):
        return _words(mark)
    paint = f"fill=\"{mark.fill or 'none'}\"{_pen(mark.pen)}"
    if isinstance(mark, Rect):
        radius = f' rx="{_n(mark.radius)}"' if mark.radius else ""
        return (f'<rect x="{_n(mark.x)}" y="{_n(mark.y)}" width="{_n(mark.width)}" height="{_n(mark.height)}"'
                f"{radius} {paint}/>")
    if isinstance(mark, Circle):
        return f'<circle cx="{_n(mark.x)}" cy="{_n(mark.y)}" r="{_n(mark.radius)}" {paint}/>'
    end = "Z" if mark.closed else ""
    way = "".join("M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in part) + end for part in mark.parts)
    return f'<path d="{way}" {paint}/>'


def _words(mark: Words) -> str:
    extras = ' font-weight="bold"' if mark.bold else ""
    if mark.anchor != "start":
        extras += f' text-anchor="{mark.anchor}"'
    if mark.turn:
        extras += f' transform="rotate({_n(-mark.turn)} {_n(mark.x)} {_n(mark.y)})"'
    return (f'<text x="{_n(mark.x)}" y="{_n(mark.y)}" font-size="{_n(mark.size)}" fill="{mark.colour}"{extras}>'
            f"{escape(mark.text)}</text>")


def _pen(pen: Pen | None) -> str:
    if pen is None:
        return ""
    dash = f' stroke-dasharray="{" ".join(map(_n, pen.dash))}"' if pen.dash else ""
    cap = "" if pen.cap == "butt" else f' stroke-linecap="{pen.cap}"'
    return f' stroke="{pen.colour}" stroke-width="{_n(pen.width)}"{dash}{cap}'


def _n(value: float) -> str:
    """A number with two decimals at most: a hundredth of a point is too fine to see."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
