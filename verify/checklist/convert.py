"""From a table of a checklist file to a Step or a Check, each judged by itself.

A key is refused where its kind has no use for it: a silent key would look like a rule that is kept.
"""

from collections.abc import Iterable, Mapping

from verify.checklist.fields import Fields
from verify.checklist.model import OPENINGS, STAGES, Check, Concession, Kind, Shows, Step
from verify.checklist.near_miss import did_you_mean
from verify.checklist.nodes import Mistakes, Scalar, Table
from verify.judge import Limit, Rule
from verify.values import Quantity, Unit, dimension
from verify.values.errors import InvalidValueError

MOST_WORDS_ASKED = 20
"""Longer sentences are not read at the bench."""

MOST_WORDS_GOOD = 12
"""What good looks like, at a glance."""

MOST_WORDS_ABOUT = 10
"""What it is about, for the owner."""

MOST_MINUTES = 240
"""Four hours: a longer check is a mistake, or a wait."""

_STEP_KEYS = ("id", "name", "do", "stage", "leads_to", "work", "voided_by", "caution")

_COMMON_KEYS = (
    "id", "kind", "ask", "about", "good", "place", "stage", "minutes",
    "work", "before", "after", "voided_by", "note_only", "held_for", "concession", "reads", "beside",
    "caution", "why",
)  # fmt: skip

_KEYS_OF: Mapping[str, tuple[str, ...]] = {
    Kind.HAZARD: ("stop",),
    Kind.LOOK: ("stop", "shows"),
    Kind.MEASURE: ("stations", "unit", "limit"),
    Kind.COUNT: ("counts", "limit"),
    Kind.PHOTO: (),
    Kind.PROBE: ("probe", "options", "limit"),
    Kind.WAIT: ("wait",),
}

_ALL_KEYS = (
    *_COMMON_KEYS,
    "stop",
    "shows",
    "stations",
    "unit",
    "counts",
    "limit",
    "probe",
    "options",
    "wait",
)


def read_step(table: Table, mistakes: Mistakes) -> Step | None:
    """Return the step, or None where its mistakes were noted."""
    before = len(mistakes.found)
    fields = Fields(table, known=_STEP_KEYS, owner="step", mistakes=mistakes)
    stage = fields.choice("stage", STAGES)
    leads_to = fields.choice("leads_to", STAGES) if fields.has("leads_to") else None
    if leads_to in STAGES and stage in STAGES and STAGES.index(leads_to) <= STAGES.index(stage):
        fields.wrong(
            "leads_to", f'"{leads_to}" does not come after "{stage}".', f"Order: {', '.join(STAGES)}."
        )
    identity = fields.identifier("id")
    name = fields.text("name")
    do = fields.sentence("do", most_words=MOST_WORDS_ASKED) if fields.has("do") else None
    work = fields.identifiers("work")
    voided_by = fields.choices("voided_by", OPENINGS)
    caution = fields.optional("caution")
    if len(mistakes.found) > before:
        return None
    return Step(
        id=identity,
        name=name,
        do=do,
        stage=stage,
        leads_to=leads_to,
        work=work,
        voided_by=voided_by,
        caution=caution,
    )


def read_check(
    table: Table, mistakes: Mistakes, *, known_probes: Mapping[str, Unit | None] | None
) -> Check | None:
    """Return the check, or None where its mistakes were noted.

    known_probes: name to the unit that it is judged in; None: not checked here.
    """
    before = len(mistakes.found)
    fields = Fields(table, known=_ALL_KEYS, owner="check", mistakes=mistakes)
    kind = fields.choice("kind", tuple(Kind))
    if kind in set(Kind):
        _refuse_keys_of_others(fields, Kind(kind))
    wait_s = _wait_s(fields, kind)
    common = {
        "id": fields.identifier("id"),
        "ask": fields.sentence("ask", most_words=MOST_WORDS_ASKED),
        "about": fields.sentence("about", most_words=MOST_WORDS_ABOUT, default=""),
        "good": _good(fields, kind),
        "place": fields.text("place"),
        "stage": fields.choice("stage", STAGES),
    }
    minutes = (
        wait_s / 60
        if kind == Kind.WAIT and not fields.has("minutes")
        else fields.number("minutes", least=0, most=MOST_MINUTES)
    )
    check_work = fields.identifiers("work")
    guarded = fields.identifiers("before")
    after = fields.identifier("after") if fields.has("after") else None
    voided_by = fields.choices("voided_by", OPENINGS)
    note_only, stop = fields.flag("note_only"), fields.flag("stop")
    held_for = fields.identifiers("held_for")
    if held_for and not note_only:
        fields.wrong("held_for", "It holds for every work already.", 'Add "note_only: yes", or drop this.')
    concession = _concession(fields, kind, stop=stop)
    shows = fields.choice("shows", tuple(Shows)) if fields.has("shows") else None
    caution, why = fields.optional("caution"), fields.optional("why")
    if stop and caution is None:
        fields.wrong(
            "stop", "A check that can stop the work has no caution.", 'Add "caution": what to do then.'
        )
    reads = fields.identifiers("reads")
    beside = fields.identifiers("beside")
    if beside and why is None:
        fields.wrong("beside", "Nothing says why the same is asked twice.", 'Add "why": what this one adds.')
    probe = _probe(fields, kind, known_probes)
    options = fields.words("options")
    stations = fields.texts("stations")
    unit = _unit(fields)
    if kind == Kind.MEASURE and not stations:
        fields.wrong(
            "stations", "A measure has no stations.", "Name the places: stations: [front left corner]."
        )
    counts = fields.texts("counts")
    probe_unit = known_probes.get(probe) if known_probes is not None and probe is not None else None
    limit = _limit(fields, kind, unit=unit, probe_unit=probe_unit)
    if len(mistakes.found) > before:
        return None
    return Check(
        **common,
        kind=Kind(kind),
        minutes=minutes,
        work=check_work,
        before=guarded,
        after=after,
        voided_by=voided_by,
        limit=limit,
        shipped_limit=None,
        shop_options={},
        options_source="",
        stop=stop,
        note_only=note_only,
        held_for=held_for,
        caution=caution,
        why=why,
        probe=probe,
        options=options,
        stations=stations,
        unit=unit,
        counts=counts,
        wait_s=wait_s,
        shows=None if shows is None else Shows(shows),
        concession=concession,
        reads=reads,
        beside=beside,
    )


def _concession(fields: Fields, kind: str, *, stop: bool) -> Concession:
    if not fields.has("concession"):
        return Concession.OWNER
    chosen = fields.choice("concession", tuple(Concession))
    if (stop or kind == Kind.HAZARD) and chosen != Concession.NEVER:
        fields.wrong("concession", "Nobody can accept a hazard.", "Take the line out.")
    return Concession(chosen) if chosen in set(Concession) else Concession.OWNER


def _refuse_keys_of_others(fields: Fields, kind: Kind) -> None:
    allowed = (*_COMMON_KEYS, *_KEYS_OF[kind])
    for key, _ in fields.table.entries:
        if key.text in _ALL_KEYS and key.text not in allowed:
            fields.mistakes.add(key.line, f'"{key.text}" has no meaning for a {kind}.', "Take it out.")


def _good(fields: Fields, kind: str) -> str:
    default = "" if kind == Kind.WAIT else None
    return fields.sentence("good", most_words=MOST_WORDS_GOOD, default=default)


def _wait_s(fields: Fields, kind: str) -> float:
    if kind == Kind.WAIT and not fields.has("wait"):
        fields.wrong("wait", 'This check has no "wait".', 'Write the time: wait: "20 min".')
    quantity = fields.quantity("wait", of=Unit.MINUTE)
    if quantity is None:
        return 0.0
    wait_s = quantity.to(Unit.SECOND).value
    if wait_s <= 0:
        fields.wrong("wait", "A wait must last longer than 0.", 'Write the time: wait: "20 min".')
    return wait_s


def _probe(fields: Fields, kind: str, known: Iterable[str] | None) -> str | None:
    if kind != Kind.PROBE:
        return None
    name = fields.identifier("probe")
    if name and known is not None and name not in known:
        fields.wrong("probe", f'There is no probe "{name}".', did_you_mean(name, known))
    return name


def _unit(fields: Fields) -> Unit:
    """Return the unit that a measure is typed in; mm, by feeler leaves, where it names none."""
    if not fields.has("unit"):
        return Unit.MILLIMETRE
    chosen = fields.choice("unit", tuple(Unit))
    return Unit(chosen) if chosen in set(Unit) else Unit.MILLIMETRE


def _limit(fields: Fields, kind: str, *, unit: Unit, probe_unit: Unit | None) -> Limit | None:
    # A value that is typed in may be for an automatic check to judge.
    typed = kind == Kind.MEASURE and unit is not Unit.MILLIMETRE
    if kind in {Kind.MEASURE, Kind.PROBE} and not typed and not fields.has("limit"):
        fields.wrong(
            "limit", f"A {kind} has no limit.", 'Write: limit: {at_most: "0.30 mm", rule: …, source: "…"}.'
        )
    table = fields.inner("limit")
    if table is None:
        return None
    noted = len(fields.mistakes.found)
    inner = Fields(
        table,
        known=("at_least", "at_most", "exactly", "rule", "source"),
        owner="limit",
        mistakes=fields.mistakes,
    )
    lower, upper, source = read_bounds(inner)
    rule = inner.choice("rule", tuple(Rule))
    if len(fields.mistakes.found) > noted:
        return None
    try:
        limit = Limit(lower=lower, upper=upper, rule=Rule(rule), source=source)
    except InvalidValueError as error:
        fields.mistakes.add(table.line, error.what, error.next_step or "Correct the bounds.")
        return None
    if kind in set(Kind):
        _judge_fits(fields, inner, kind, limit, unit=unit, probe_unit=probe_unit)
    return limit


def read_bounds(fields: Fields) -> tuple[Quantity | None, Quantity | None, str]:
    """Return the lower and the upper bound of a limit and its source; mistakes are noted."""
    exactly = fields.quantity("exactly")
    lower, upper = fields.quantity("at_least"), fields.quantity("at_most")
    if exactly is not None and (lower is not None or upper is not None):
        fields.wrong("exactly", '"exactly" stands beside another bound.', "Keep one of them.")
    if lower is not None and lower.unit is Unit.COUNT and lower.value <= 0 and upper is None:
        fields.wrong(
            "at_least", f'"at least {lower}" holds for every count.', "Write how many there must be."
        )
    source = fields.text("source") if fields.has("source") else ""
    if not source and not isinstance(fields.table.get("source"), Scalar):
        fields.wrong("source", "A limit needs its source.", '"common practice, no source" is one.')
    return exactly or lower, exactly or upper, source


def _judge_fits(
    fields: Fields, inner: Fields, kind: str, limit: Limit, *, unit: Unit, probe_unit: Unit | None
) -> None:
    wanted = {Kind.MEASURE: unit, Kind.COUNT: Unit.COUNT, Kind.PROBE: probe_unit}.get(Kind(kind))
    for key in ("exactly", "at_least", "at_most"):
        bound = inner.quantity(key)
        if wanted is not None and bound is not None and dimension(bound.unit) != dimension(wanted):
            judge = f'The probe "{fields.text("probe")}"' if kind == Kind.PROBE else f"A {kind}"
            inner.wrong(key, f"{judge} is judged in {wanted}, not in {bound.unit}.", "Correct the unit.")
            return
    if kind == Kind.COUNT and limit.rule is not Rule.COUNT:
        fields.wrong("limit", f'A count is exact: its rule cannot be "{limit.rule}".', 'Write "rule: count".')
