"""From a record to the page: one file, no script, no request, the same bytes for the same record."""

from collections.abc import Callable, Mapping
from functools import cache, partial
from typing import TYPE_CHECKING

from verify.record.canonical import record_bytes, record_from
from verify.record.model import Record
from verify.record.page import MARKER, PAGE_END, escape_record, parts_of
from verify.record.visible import on_one_line, visible
from verify.report import words
from verify.report.arrival import arrival_rows
from verify.report.battery import battery_view
from verify.report.checks import short_moment, stages_of
from verify.report.course import course_of
from verify.report.glance import glance_of
from verify.report.inventory import parts_view
from verify.report.numbers import likelihood, limit_written, moment, written
from verify.report.owner import headline_of, kind_words, owner_view, plainly, work_words
from verify.report.packed import Packed, packed_views
from verify.report.pictures import picture_views
from verify.report.plots.capacity import capacity_views
from verify.report.plots.courses import course_views
from verify.report.plots.resistance import resistance_views
from verify.report.plots.runs import run_view
from verify.report.plots.seams import seam_views
from verify.report.plots.tray import tray_views
from verify.report.readings import judged_of
from verify.report.shop import shop_view
from verify.report.traced import Traced
from verify.values.errors import InvalidValueError

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup

LAYOUT = "report-page/3"
_IDENTITY = ("maker", "model", "version", "serial")
_PARTS = ("head", "owner", "technician", "pictures", "traces", "record", "end")


def render(
    record: Record,
    pictures: Mapping[str, bytes] | None = None,
    traces: Mapping[str, Packed] | None = None,
) -> bytes:
    """Return the page, unsigned, ending with `</html>` and a line feed.

    pictures: the bytes of those taken on arrival, by the file's name in the record. One whose hash is not
    the record's, and one that is not among them, is told in words and not shown.
    traces: the same for what was read over time, by the trace's name; None: nothing is drawn or told of them.
    Raises InvalidValueError where the record has no canonical form.
    """
    from markupsafe import Markup

    data = record_bytes(record)
    record = record_from(data)  # whoever reads it out of the page must get the same page: names in one order
    shown = picture_views(record, pictures or {})
    taken_in = tuple(view for view in shown if view.on_arrival)
    packed = () if traces is None else packed_views(record, traces)
    standing = {one.name: one.standing for one in packed}
    read = Traced({name: one.data for name, one in (traces or {}).items()}, standing)
    view = owner_view(record)
    text = template("page.html").render(
        record=record,
        pictures=shown,
        arrival=() if record.arrival is None else arrival_rows(record.arrival, taken_in),
        parts=parts_view(record),
        course=course_of(record),
        view=view,
        glance=glance_of(record, view),
        shop=shop_view(record, pictures or {}),
        battery=battery_view(record),
        capacities=capacity_views(record),
        seams=seam_views(record),
        resistances=resistance_views(record),
        trays=tray_views(record),
        run=run_view(record, read.seconds),
        courses=course_views(record, read) if packed else (),
        trace_standing=standing,
        packed=packed,
        taken_in=taken_in,
        stages=stages_of(record, shown),
        shop_limited={
            result.checklist
            for result in record.results
            if result.shipped_limit is not None or result.shop_options
        },
        headline=headline_of(record),
        worked=partial(work_words, record),
        bands=bands(record),
        machine=_machine(record.machine),
        layout=LAYOUT,
        ticket_css=Markup(css_string(on_one_line(record.ticket.id))),  # every character is a code
        embedded=Markup(escape_record(data).decode()),  # escaped by the one rule that takes it out again
    )
    page = text.encode()
    left_out = {name for name, there in (("pictures", shown), ("traces", packed)) if not there}
    parts = tuple(name for name in _PARTS if name not in left_out)
    if MARKER in page or not page.endswith(PAGE_END) or tuple(parts_of(page)) != parts:
        raise InvalidValueError("The page did not come out as a page must be.")
    return page


def _machine(told: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Return what the machine told about itself: first what tells it apart, then the rest by name."""
    known = {name: order for order, name in enumerate(_IDENTITY)}
    return tuple(sorted(told.items(), key=lambda item: (known.get(item[0], len(known)), item[0])))


def bands(record: Record) -> tuple[str, ...]:
    """Return what every page says of a run that is no acceptance; empty for one that may be."""
    flags = (
        (record.practice, "practice"),
        (record.simulated, "simulated"),
        (record.scripted, "scripted"),
    )
    return tuple(words.PAGE[name] for flag, name in flags if flag)


def css_string(text: str) -> str:
    """Return the text as a CSS string in which every character is a code: nothing can end it."""
    return '"' + "".join(f"\\{ord(character):06x}" for character in text) + '"'


def _sayer() -> Callable[[object], "Markup"]:
    """Return the filter for foreign text: escaped, every character visible, its direction kept to itself."""
    from markupsafe import Markup, escape

    opens, closes = Markup("<bdi>"), Markup("</bdi>")

    def say(text: object) -> Markup:
        return opens + escape(visible(str(text))) + closes

    return say


@cache
def template(name: str) -> "Template":
    """Return a template of the report, with its filters and words."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    from verify.report.compiled import CompiledBeside

    environment = Environment(
        loader=PackageLoader("verify.report"),
        bytecode_cache=CompiledBeside(),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(
        say=_sayer(),
        visible=visible,
        written=written,
        limit=limit_written,
        likelihood=likelihood,
        kind=kind_words,
        moment=moment,
        short_moment=short_moment,
        judged=judged_of,
        plainly=plainly,
    )
    environment.globals.update(t=words.PAGE, words=words)
    return environment.get_template(name)
