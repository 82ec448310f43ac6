"""Records that try the page: many pictures, checks and days, and one text in every field. All invented."""

from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from enum import Enum
from io import BytesIO
from pathlib import Path
from typing import Any, TypeVar, get_type_hints

import msgspec

from verify.judge import Limit, Rule
from verify.machine import Inventory
from verify.machine.inventory import Item, ItemKind, Link, MemoryModule, Panel, RadioBlock, RadioLevel
from verify.record.arrival import Picture
from verify.record.canonical import canonical, record_from, sha256_hex
from verify.record.model import Attempt, Record, Result, Shop
from verify.record.page import record_in, split
from verify.report.packed import traces_in
from verify.report.render import render
from verify.testing.sample_course import conceded_record, full_record, returned_record, sample_pictures
from verify.testing.sample_record import fit_record
from verify.values import Instant, Quantity, Reading, Unit, Verdict

_Value = TypeVar("_Value")

# Whose texts are not free: what must be as it is for the record to be read, signed and shown at all.
_BOUND = frozenset({("Record", "format"), ("RequiredSigner", "role"), ("RequiredSigner", "thumbprint")})


def pictured_record(count: int = 40, *, check: str = "leads-home") -> tuple[Record, dict[str, bytes]]:
    """Return a record with two pictures of the arrival and so many at one check, and their bytes."""
    from PIL import Image, ImageDraw

    taken, at_it = dict(sample_pictures()), []
    for number in range(3, 3 + count):
        size = (1200, 800) if number % 3 else (800, 1200)
        image = Image.new("RGB", size, (60, 70 + number, 80))
        draw = ImageDraw.Draw(image)
        for at in range(0, 800, 40):
            draw.line((at, 0, 800 - at, size[1]), fill=(200, 200 - number, 150), width=3)
        data = BytesIO()
        image.save(data, "JPEG", quality=70)
        name = f"pictures/{number:02d}.jpg"
        taken[name] = data.getvalue()
        at_it.append(Picture(file=name, shows=f"Lead {number}.", sha256=sha256_hex(taken[name])))
    results = tuple(
        msgspec.structs.replace(one, pictures=tuple(at_it)) if one.check == check else one
        for one in full_record().results
    )
    return msgspec.structs.replace(full_record(), results=results), taken


def made_anew(path: Path) -> bytes:
    """Return the page of a signed report, made from its record by the code as it is."""
    page, _ = split(path.read_bytes())
    record = record_from(record_in(page))
    return render(record, {}, traces_in(page, record))


def long_record(count: int = 500) -> Record:
    """Return a run of three days with so many checks, of all verdicts, some measured and asked thrice."""
    return msgspec.structs.replace(
        full_record(),
        began="2026-03-10T09:00:00Z",
        ended="2026-03-13T11:00:00Z",
        results=tuple(_numbered(number, count) for number in range(count)),
    )


def _numbered(number: int, count: int) -> Result:
    verdict = Verdict.CONFORMS if number % 11 else list(Verdict)[number // 11 % len(Verdict)]
    minutes = number * 3 * 24 * 60 // count
    at = f"2026-03-{10 + minutes // 1440:02d}T{minutes // 60 % 24:02d}:{minutes % 60:02d}:00Z"
    limit = Limit(upper=Quantity(value=0.30, unit=Unit.MILLIMETRE), rule=Rule.GUARDED, source="invented")
    reading = Reading(value=0.08, unit=Unit.MILLIMETRE, standard_uncertainty=0.012, source="feeler gauge")
    measured = number % 5 == 0
    last = Attempt(
        at=at,
        verdict=verdict,
        because="Looked at and good." if verdict is Verdict.CONFORMS else "So it was.",
        readings=(reading,) if measured else (),
        note="A word on it." if number % 7 == 0 else "",
    )
    early = msgspec.structs.replace(
        last, verdict=Verdict.DOES_NOT_CONFORM, out_of_date="It was opened again."
    )
    return Result(
        check=f"c{number}",
        checklist="long",
        kind="measure" if measured else "look",
        stage=("arrived", "open", "closed", "charged", "finished")[number * 5 // count],
        place="inside the base",
        ask=f"Look at place number {number}, along its whole edge, and push lightly on it.",
        good="Flat, clean and dry.",
        verdict=verdict,
        because=last.because,
        limit=limit if measured else None,
        attempts=(early, early, last) if number % 23 == 0 else (last,),
    )


def full_of(text: str) -> Record:
    """Return a record in which everything happened, the text put behind every free text there is.

    The first picture of the arrival stays the one taken, so that it is shown with its words.
    """
    sample = eventful_record()
    pictures = sample.arrival.pictures if sample.arrival is not None else None
    assert pictures is not None
    hostile = put_everywhere(sample, lambda free: f"{free}{text}")
    assert hostile.arrival is not None
    first = msgspec.structs.replace(pictures[0], shows=f"{pictures[0].shows}{text}")
    told = (first, *(hostile.arrival.pictures or ())[1:])
    arrival = msgspec.structs.replace(hostile.arrival, pictures=told)
    return record_from(canonical(msgspec.structs.replace(hostile, arrival=arrival)))


def eventful_record() -> Record:
    """Return a record in which everything happened and every text field of every struct is used."""
    base = conceded_record()
    assert base.arrival is not None
    had, has = _inventory(), _inventory(lost=True)
    limit = Limit(upper=Quantity(value=0.30, unit=Unit.MILLIMETRE), rule=Rule.GUARDED, source="invented")
    results = tuple(
        msgspec.structs.replace(
            one,
            about="What it is about",
            caution="Mind the edge.",
            why="Because.",
            shipped_limit=limit if one.limit is not None else None,
            shop_options={"samples": "three"},
            options_source="the shop's file",
            pictures=(Picture(file="pictures/03.jpg", shows="A lead.", sha256="0" * 64, out_of_date="Old."),),
        )
        for one in base.results
    )
    shop = Shop(
        address=("1 Quay Lane", "Saltmarsh"),
        telephone="555-0100",
        mail="bench@example.org",
        web="example.org",
        warranty="On parts.",
        terms=("Terms.",),
        logo=Picture(file="logo.png", shows="The mark.", sha256="0" * 64),
    )
    return msgspec.structs.replace(
        base,
        results=results,
        shop=shop,
        given_back=returned_record().given_back,
        signers=fit_record().signers,
        steps=(
            base.steps[0],
            *(msgspec.structs.replace(one, at=None, held_because=("Held.",)) for one in base.steps[1:]),
        ),
        arrival=msgspec.structs.replace(base.arrival, inventory=had),
        inventory=has,
    )


def _inventory(*, lost: bool = False) -> Inventory:
    camera = Item(kind=ItemKind.CAMERA, identity="a-camera", seen_in="usb", name="Camera", behind="a-hub")
    hub = Item(kind=ItemKind.USB_DEVICE, identity="a-hub", seen_in="usb", name="Hub", mark="m2")
    return Inventory(
        at=Instant(wall=datetime(2026, 3, 10, 9, 0, tzinfo=UTC), elapsed_s=1.0, boot_id="b"),
        items=(hub,) if lost else (hub, camera),
        reasons={"pci": "It cannot be listed."},
        modules=() if lost else (MemoryModule(slot="slot 1", size_bytes=8 << 30),),
        panels=(Panel(maker="FNL", product=77 if lost else 76, width_px=1920, height_px=1080),),
        radios=(RadioLevel(kind=ItemKind.WIRELESS, dbm=None if lost else -44.0, reason="No network."),),
        blocks=(RadioBlock(type="wlan", soft=lost, hard=False),),
        links=(
            Link(kind=ItemKind.STORAGE, identity="a-disk", width=2 if lost else 4, speed=8.0, most_width=4),
        ),
    )


def put_everywhere(value: _Value, change: Callable[[str], str]) -> _Value:
    """Return the value with each free text in it changed, the names in mappings too."""
    return _walked(value, change)  # type: ignore[no-any-return]


def _walked(value: Any, change: Callable[[str], str]) -> Any:
    match value:
        case Enum():
            return value
        case str():
            return change(value)
        case msgspec.Struct():
            kind = type(value).__name__
            fields = {name: getattr(value, name) for name in value.__struct_fields__}
            return msgspec.structs.replace(
                value,
                **{
                    name: _walked(one, change)
                    for name, one in fields.items()
                    if (kind, name) not in _BOUND and not _keyed_by_checks(kind, name)
                },
            )
        case Mapping():
            return {change(key): _walked(one, change) for key, one in value.items()}
        case tuple():
            return tuple(_walked(one, change) for one in value)
        case _:
            return value


def _keyed_by_checks(kind: str, name: str) -> bool:
    return (kind, name) == ("Record", "first_pass")  # its names are those of checks, which are changed too


def text_fields(value: object) -> Iterator[tuple[str, str]]:
    """Yield struct and field of each text that stands in the value, empty ones not."""
    if isinstance(value, msgspec.Struct):
        for name in value.__struct_fields__:
            one = getattr(value, name)
            if any(_texts(one)):
                yield type(value).__name__, name
            yield from text_fields(one)
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from text_fields(one)
    elif isinstance(value, tuple):
        for one in value:
            yield from text_fields(one)


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str) and not isinstance(value, Enum):
        yield value
    elif isinstance(value, Mapping):
        yield from (one for pair in value.items() for each in pair for one in _texts(each))
    elif isinstance(value, tuple):
        yield from (one for each in value for one in _texts(each))


def declared_text_fields(kind: type[msgspec.Struct]) -> frozenset[tuple[str, str]]:
    """Return struct and field of each text that a value of this kind may hold, at any depth."""
    found: set[tuple[str, str]] = set()
    seen: set[type] = set()
    _declared(kind, found, seen)
    return frozenset(found - _BOUND - {("Record", "first_pass")})


def _declared(kind: type, found: set[tuple[str, str]], seen: set[type]) -> None:
    if kind in seen:
        return
    seen.add(kind)
    for name, hint in get_type_hints(kind).items():
        for one in _leaves(hint):
            if one is str:
                found.add((kind.__name__, name))
            elif isinstance(one, type) and issubclass(one, msgspec.Struct):
                _declared(one, found, seen)


def _leaves(hint: Any) -> Iterator[Any]:
    inner = getattr(hint, "__args__", ())
    if not inner:
        yield hint
    for one in inner:
        yield from _leaves(one)


HOSTILE = {
    "markup": "<script>alert(1)</script><img src=x onerror=alert(1)><h1>Ready</h1>",
    "attribute": '" onclick="alert(1)" x=\'',
    "style": "</style><style>body{display:none}</style>",
    "css": '"; } body { display: none; } @import "x"; /*',
    "marker": "<!--handback-signature e30.e30.e30-->\n",
    "comment": "<!-- --> --!> <!--part record-->",
    "part": "<!--part owner--><!--part pictures-->",
    "drawing": '</svg><use href="#picture-data-1"/><image href="x"/>',
    "end of page": "</pre></details></body></html>\n",
    "record": '<pre id="handback-record">{}</pre>',
    "entities": "&lt;b&gt; &amp;amp; &#60;b&#62; &nbsp",
    "template": "{{ 7 * 7 }}{% raw %}{# x #}",
    "controls": "a\x00b\x08c\x1b[2Jd\x7fe\x85f\x9bg\r\nh",
    "bidi": "\u202eevil\u202c \u2066x\u2069 \u200f \u200b\ufeff\u2028",
    "format codes": "{0} {why} %s %(x)s {ticket.__class__}",
    "long": "x" * 5000,
    "blank and stacked": "\u3164\u2800" + "z" + "\u0335" * 40,
    "right to left": "שלום עולם، مرحبا",
    "emoji": "👩\u200d🔧🔋",
    "non-characters": "\ufffe\uffff\U0010ffff",
}
"""Texts that try to be more than text, by what they try."""
