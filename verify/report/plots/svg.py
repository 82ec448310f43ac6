"""The few shapes that plots are made of, as SVG markup. Every text is escaped, every number rounded alike.

Looks come from classes only: colours, strokes and sizes stand in the page's style sheet.
"""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from verify.record.visible import visible

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["figure", "line", "mark", "path", "rect", "strokes", "text"]


def figure(shapes: "Iterable[Markup]", *, width: float, height: float, title: str, says: str) -> "Markup":
    """Return a drawing as one `<svg>`, as wide as its column.

    width, height: of the view box. title: what it is; says: what it shows, in plain words, for whoever does
    not see it.
    """
    from markupsafe import Markup

    inside = Markup("").join(shapes)
    return Markup(
        '<svg class="plot" viewBox="0 0 {width} {height}" role="img"><title>{title}</title>'
        "<desc>{says}</desc>{inside}</svg>"
    ).format(
        width=_number(width), height=_number(height), title=visible(title), says=visible(says), inside=inside
    )


def line(x1: float, y1: float, x2: float, y2: float, *, look: str) -> "Markup":
    """Return a straight line. look: its class."""
    from markupsafe import Markup

    places = [_number(place) for place in (x1, y1, x2, y2)]
    return Markup('<line x1="{}" y1="{}" x2="{}" y2="{}" class="{}"/>').format(*places, look)


def rect(x: float, y: float, width: float, height: float, *, look: str) -> "Markup":
    """Return a rectangle; width and height 0 or more."""
    from markupsafe import Markup

    places = [_number(place) for place in (x, y, width, height)]
    return Markup('<rect x="{}" y="{}" width="{}" height="{}" class="{}"/>').format(*places, look)


def mark(x: float, y: float, size: float, shape: str) -> "Markup":
    """Return one of the page's marks, its middle at x, y. shape: as in words.MARKS."""
    from markupsafe import Markup

    places = [_number(place) for place in (x - size / 2, y - size / 2, size, size)]
    return Markup('<use href="#mark-{}" x="{}" y="{}" width="{}" height="{}" class="{}"/>').format(
        shape, *places, shape
    )


def path(places: Sequence[tuple[float, float]], *, look: str, closed: bool = False) -> "Markup":
    """Return a line through the places, two or more; closed: an area."""
    from markupsafe import Markup

    steps = " ".join(
        f"{'L' if number else 'M'}{_number(x)} {_number(y)}" for number, (x, y) in enumerate(places)
    )
    return Markup('<path d="{}{}" class="{}"/>').format(steps, " Z" if closed else "", look)


def strokes(places: Iterable[float], top: float, bottom: float, *, look: str) -> "Markup":
    """Return upright lines at these places across, as one shape; none where there is no place."""
    from markupsafe import Markup

    written = dict.fromkeys(_number(place) for place in places)
    if not written:
        return Markup("")
    steps = " ".join(f"M{place} {_number(top)}V{_number(bottom)}" for place in written)
    return Markup('<path d="{}" class="{}"/>').format(steps, look)


def text(x: float, y: float, words: str, *, look: str, anchor: str = "start") -> "Markup":
    """Return a text. anchor: start, middle or end, which lies at x."""
    from markupsafe import Markup

    return Markup('<text x="{}" y="{}" text-anchor="{}" class="{}">{}</text>').format(
        _number(x), _number(y), anchor, look, visible(words)
    )


def _number(place: float) -> str:
    """Write a place to a tenth: finer than a printer, and the same on every machine."""
    return f"{round(place, 1) + 0.0:g}"
