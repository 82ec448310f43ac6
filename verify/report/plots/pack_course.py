"""A charge or a drain over time: level, power, voltage, what was counted, and the phases of the charge."""

from collections.abc import Sequence

import msgspec

from verify.probe.handed_on import CAPACITY_AH, CAPACITY_WH, PHASE, handed, told_by
from verify.report.counted import counted_wh
from verify.report.numbers import about, given, lasting, plain
from verify.report.plots.envelope import MOST, usual_pause
from verify.report.plots.lines import Line, Panel, Span
from verify.report.plots.rows import Column
from verify.report.plots.told import MOST_LINES, Told, Watched, known
from verify.report.traces import Courses
from verify.report.words import COURSES
from verify.values import Reading, Unit

__all__ = ["WENT_IN", "WENT_OUT", "charge_told", "drain_told"]

_ADD_UP = 0.05  # phases are drawn where their sum is the length of the watch within this share
_AGREE = 0.02  # both counts tell the same within this share
_LEAST_WH = 0.05  # a figure below tells nothing of a share

# What the two checks count, as their readings say it.
WENT_IN = "its own current sensor: net energy that went in"
WENT_OUT = "energy that went out"


class _Way(msgspec.Struct, frozen=True, kw_only=True):
    """Into the battery or out of it. sign: of the power that counts."""

    power: str
    most: str
    counted: str
    by_report: str
    sign: float


def charge_told(watched: Watched) -> Told:
    """Tell a charge."""
    way = _Way(
        power=COURSES["power_in"],
        most=COURSES["most_in"],
        counted=COURSES["in"],
        by_report=COURSES["in_by_report"],
        sign=1.0,
    )
    courses, readings = watched.courses, watched.attempt.readings
    limit = watched.result.limit.lower if watched.result.limit is not None else None
    at_least = limit.value if limit is not None and limit.unit is Unit.PERCENT else None
    powers = _powers(courses, way)
    energies = _energies(courses, powers)
    panels, columns = _panels(courses, way, powers, energies)
    if panels[0].lines:
        words = "" if at_least is None else COURSES["limit"].format(value=given(at_least), unit="%")
        line = None if at_least is None else (at_least, words)
        panels[0] = msgspec.structs.replace(panels[0], high=100.0, limit=line)
    says = _says(courses, way)
    spans: tuple[Span, ...] = ()
    for name in courses.packs:
        phases = _phases(readings, name)
        says += _phases_told(phases, name, several=len(courses.packs) > 1)
        if len(courses.packs) == 1:
            spans = _spans(phases, courses.times_s[-1])
        says += _capacity(readings, name)
    says += _counts(courses, energies, way, _told_counts(readings, WENT_IN))
    return Told(title=COURSES["charge"], panels=tuple(panels), says=tuple(says), columns=columns, spans=spans)


def drain_told(watched: Watched) -> Told:
    """Tell a drain; its limit is a share of what is claimed, no level."""
    way = _Way(
        power=COURSES["power_out"],
        most=COURSES["most_out"],
        counted=COURSES["out"],
        by_report=COURSES["out_by_report"],
        sign=-1.0,
    )
    powers = _powers(watched.courses, way)
    energies = _energies(watched.courses, powers)
    panels, columns = _panels(watched.courses, way, powers, energies)
    says = _says(watched.courses, way)
    says += _counts(watched.courses, energies, way, _told_counts(watched.attempt.readings, WENT_OUT))
    return Told(title=COURSES["drain"], panels=tuple(panels), says=tuple(says), columns=columns)


def _powers(courses: Courses, way: _Way) -> dict[str, Sequence[float]]:
    """Return the power of each battery that is drawn, that counts positive."""
    packs = list(courses.packs.items())[:MOST_LINES]
    return {name: _signed(pack.power_w, way.sign) for name, pack in packs}


def _energies(courses: Courses, powers: dict[str, Sequence[float]]) -> dict[str, Sequence[float]]:
    """Return what was counted of each battery, where its power is known."""
    pause_s = usual_pause(courses.times_s)
    return {
        name: counted_wh(courses.times_s, watts, pause_s=pause_s)
        for name, watts in powers.items()
        if known(watts)
    }


def _signed(values: Sequence[float], sign: float) -> Sequence[float]:
    return values if sign > 0 else [0.0 - value for value in values]


def _panels(
    courses: Courses,
    way: _Way,
    powers: dict[str, Sequence[float]],
    energies: dict[str, Sequence[float]],
) -> tuple[list[Panel], tuple[Column, ...]]:
    """Return level, power, voltage and count of the packs; a panel without lines where nothing is known."""
    packs = list(courses.packs.items())[:MOST_LINES]
    channels: tuple[tuple[str, dict[str, Sequence[float]], float | None, int], ...] = (
        (COURSES["level"], {name: pack.level for name, pack in packs}, 0.0, 1),
        (way.power, powers, 0.0, 1),
        (COURSES["voltage"], {name: pack.voltage_v for name, pack in packs}, None, 2),
        (way.counted, energies, 0.0, 2),
    )
    panels, columns = [], []
    for title, series, low, decimals in channels:
        told = {name: values for name, values in series.items() if known(values)}
        lines = tuple(Line(name=name, values=values) for name, values in told.items())
        panels.append(Panel(name=title, lines=lines, low=low))
        for name, values in told.items():
            head = title if len(packs) == 1 else COURSES["of_one"].format(what=title, name=name)
            columns.append(Column(name=head, values=values, decimals=decimals))
    return panels, tuple(columns)


def _says(courses: Courses, way: _Way) -> list[str]:
    """Return a sentence for each pack: from which level to which, how long, power and voltage."""
    said = []
    for name, pack in list(courses.packs.items())[:MOST_LINES]:
        levels, volts = known(pack.level), known(pack.voltage_v)
        watts = known(pack.power_w)
        pieces = [COURSES["lasted"].format(time=lasting(courses.times_s[-1]))]
        if levels:
            first, last = about(levels[0]), about(levels[-1])
            pieces = [COURSES["from_to"].format(first=first, last=last, time=lasting(courses.times_s[-1]))]
        most = (max(watts) if way.sign > 0 else 0.0 - min(watts)) if watts else 0.0
        pieces.append(way.most.format(value=about(most)) if watts else COURSES["no_power"])
        if volts:
            pieces.append(COURSES["volts"].format(low=f"{min(volts):.2f}", high=f"{max(volts):.2f}"))
        said.append(_named(COURSES["and"].join(pieces), name, courses))
    if len(courses.packs) > MOST_LINES:
        said.append(COURSES["more"].format(count=len(courses.packs) - MOST_LINES))
    return said


def _named(words: str, name: str, courses: Courses) -> str:
    return COURSES["alone" if len(courses.packs) == 1 else "named"].format(name=name, words=words)


def _told_counts(readings: Sequence[Reading], what: str) -> dict[str, Reading]:
    """Return what the check counted of each battery, by its name."""
    found: dict[str, Reading] = {}
    for reading in readings:
        for between in (": ", ", "):
            whose, there, more = reading.source.partition(f"{between}{what}")
            if there and (not more or more.startswith(", ")) and reading.unit is Unit.WATT_HOUR:
                found.setdefault(whose.removeprefix("battery gauge "), reading)
    return found


def _counts(
    courses: Courses, energies: dict[str, Sequence[float]], way: _Way, told: dict[str, Reading]
) -> list[str]:
    """Return what the report counted of each battery, against what the check did; a difference is said."""
    said = []
    for name, energy in energies.items():
        end_wh = known(energy)[-1]
        words = way.by_report.format(value=plain(end_wh))
        check = told.get(name)
        if check is None:
            pieces = [words, COURSES["check_none"]]
        elif check.value is None:
            pieces = [words, COURSES["check_unknown"].format(why=(check.reason or "").removesuffix("."))]
        else:
            pieces = [words, COURSES["check_counted"].format(value=plain(check.value))]
            least = max(abs(check.value), _LEAST_WH)
            if abs(end_wh - check.value) > _AGREE * least:
                share = f"{100 * abs(end_wh - check.value) / least:.3g}"
                pieces.append(COURSES["counts_differ"].format(share=share))
        said.append(_named(COURSES["and"].join(pieces), name, courses))
    return said


class _Phase(msgspec.Struct, frozen=True, kw_only=True):
    name: str
    charge: str
    minutes: float | None


def _phases(readings: Sequence[Reading], pack: str) -> list[_Phase]:
    start = f"battery gauge {pack}: {PHASE}, "
    found = []
    for reading in readings:
        if reading.source.startswith(start):
            name, _, charge = told_by(reading).partition(": ")
            found.append(_Phase(name=name, charge=charge, minutes=reading.value))
    return found


def _phases_told(phases: list[_Phase], pack: str, *, several: bool) -> list[str]:
    if not phases:
        return []
    told = [
        COURSES["phase_charge" if phase.charge else "phase"].format(
            name=phase.name,
            time=COURSES["unknown_time"] if phase.minutes is None else lasting(60 * phase.minutes),
            charge=phase.charge,
        )
        for phase in phases
    ]
    words = COURSES["phases"].format(phases=COURSES["and"].join(told))
    return [COURSES["named" if several else "alone"].format(name=pack, words=words.removesuffix("."))]


def _spans(phases: list[_Phase], length_s: float) -> tuple[Span, ...]:
    """Return where the phases lie, one after the other; none where they do not add up to the watch."""
    lengths_s = [60 * phase.minutes for phase in phases if phase.minutes is not None]
    whole = len(lengths_s) == len(phases) and all(0 <= one <= MOST for one in lengths_s)
    if not whole or abs(sum(lengths_s) - length_s) > _ADD_UP * length_s:
        return ()
    found, at_s = [], 0.0
    for phase, one_s in zip(phases, lengths_s, strict=True):
        found.append(Span(name=phase.name, start_s=at_s, end_s=at_s + one_s))
        at_s += one_s
    return tuple(found)


def _capacity(readings: tuple[Reading, ...], pack: str) -> list[str]:
    """Return the capacity that was counted, in words."""
    said = []
    for what, key in ((CAPACITY_WH, "counted_wh"), (CAPACITY_AH, "counted_ah")):
        reading = handed({"": readings}, pack, what)
        if reading is not None and reading.value is not None:
            said.append(COURSES[key].format(value=plain(reading.value), more=told_by(reading)))
    return said
