"""Each mistake a person can make in a checklist is told with its line and a way out."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.checklist import Check, Kind
from verify.checklist.loader import find_mistakes, load_checklist, parse_checklist
from verify.checklist.nodes import MAX_BYTES, decode
from verify.judge import Rule
from verify.values import Quantity, Unit
from verify.values.errors import ChecklistError, WrongUseError

HEAD = "format: checklist/1\nid: made\nrevision: 3\ntitle: Made for this test\n"
STEPS = "steps:\n  - id: hand-back\n    name: hand back\n    stage: finished\n"
GOOD_LOOK = """\
  - id: flush
    kind: look
    ask: Look along the edge.
    good: Cover lies flush.
    place: seam
    stage: closed
    minutes: 0.5
"""
MEASURE = GOOD_LOOK.replace("kind: look", "kind: measure") + "    stations: [left, right]\n"
LIMIT = '    limit: {at_most: 0.30 mm, rule: guarded, source: "common practice, no source"}\n'
PROBE = GOOD_LOOK.replace("kind: look", "kind: probe") + "    probe: charger-seen\n"


def checks(*texts: str) -> str:
    return HEAD + STEPS + "checks:\n" + "".join(texts)


def only(text: str) -> Check:
    return parse_checklist(checks(text), name="made.yaml").checks[0]


# id, text, line of the mistake, a part of what happened, a part of what to do
MISTAKES = [
    ("empty file", "", 1, "empty", "format:"),
    ("only a comment", "# nothing\n", 1, "empty", "format:"),
    ("a list at the top", "- format: checklist/1\n", 1, "not a checklist file", "format: checklist/1"),
    ("no format", "id: made\n", 1, "does not say its format", "format: checklist/1"),
    (
        "newer major",
        "format: checklist/2\nx: y\n",
        1,
        '"checklist/2"; this tool reads "checklist/1"',
        "newer",
    ),
    ("other format", "format: record/1\n", 1, '"record/1"', "format: checklist/1"),
    (
        "format not first",
        "id: made\n" + HEAD.replace("id: made\n", "") + "checks:\n" + GOOD_LOOK,
        1,
        '"format" must be the first key',
        "format:",
    ),
    ("not YAML", HEAD + "checks: [a\n", 6, "not YAML", "colons"),
    ("tab as indent", HEAD + "checks:\n\t- id: x\n", 6, "not YAML", "indents"),
    ("bad escape", HEAD + 'why: "\\UFFFFFFFF"\n', 1, "not YAML", "escapes"),
    ("terminal escape", HEAD.replace("Made for this test", '"\\e[2J"'), 4, "cannot be printed", "escape"),
    ("lone surrogate", HEAD.replace("Made for this test", '"\\uD800"'), 4, "cannot be printed", "escape"),
    ("two documents", checks(GOOD_LOOK) + "---\na: b\n", 17, "second document", "one checklist"),
    ("anchor", HEAD + "steps: &all []\n", 5, "can grow without bound", "Write the text out"),
    ("alias", HEAD + "steps: *all\n", 5, "can grow without bound", "Write the text out"),
    ("tag", HEAD + "steps: !!python/object:os.system []\n", 5, "tag", "Take it out"),
    ("too deep", HEAD + "steps: " + "[" * 200 + "\n", 5, "deeper than 8", "flatter"),
    ("key that is a list", HEAD + "? [a]\n: b\n", 5, "key must be a word", "brackets"),
    ("key twice", HEAD + "title: Again\nchecks:\n" + GOOD_LOOK, 5, "second time (first in line 4)", "one of"),
    ("unknown key", HEAD + "for_wrk: [battery]\nchecks:\n" + GOOD_LOOK, 5, '"for_wrk"', '"for_work"'),
    ("asks nothing", HEAD, 1, "asks nothing", "checks"),
    ("missing key", checks(GOOD_LOOK.replace("    place: seam\n", "")), 10, 'no "place"', "place:"),
    (
        "look without good",
        checks(GOOD_LOOK.replace("    good: Cover lies flush.\n", "")),
        10,
        '"good"',
        "good:",
    ),
    ("key without value", checks(GOOD_LOOK.replace("seam", "")), 14, '"place" has no value', "Write one"),
    ("wrong type", checks(GOOD_LOOK.replace("seam", "[seam]")), 14, "must be one text", "list"),
    (
        "list wanted",
        checks(GOOD_LOOK + "    before: hand-back\n"),
        17,
        '"before" must be a list',
        "before: [one",
    ),
    ("list in a list", checks(GOOD_LOOK + "    before: [[a]]\n"), 17, "list of words", "brackets"),
    ("check that is a word", checks("  - flush\n"), 10, "keys with values", "- id:"),
    ("checks that are a table", HEAD + "checks: {a: b}\n", 5, "must be a list", "dash"),
    ("twice in a list", checks(GOOD_LOOK + "    work: [feet, feet]\n"), 17, "stands twice", "one of them"),
    (
        "revision",
        checks(GOOD_LOOK).replace("revision: 3", "revision: 0"),
        3,
        "whole number from 1",
        "Correct",
    ),
    (
        "id with blanks",
        checks(GOOD_LOOK.replace("id: flush", "id: Cover Flush")),
        10,
        "cannot be an id",
        "dashes",
    ),
    ("unknown kind", checks(GOOD_LOOK.replace("kind: look", "kind: looks")), 11, '"looks"', '"look"'),
    ("unknown stage", checks(GOOD_LOOK.replace("stage: closed", "stage: close")), 15, '"close"', '"closed"'),
    (
        "unknown opening",
        checks(GOOD_LOOK + "    voided_by: [pack unpluged]\n"),
        17,
        "unpluged",
        '"pack-unplugged"',
    ),
    (
        "long question",
        checks(GOOD_LOOK.replace("Look along the edge.", "Look " * 21)),
        12,
        "21 words",
        "Shorten",
    ),
    ("long good", checks(GOOD_LOOK.replace("Cover lies flush.", "good " * 13)), 13, "13 words", "Shorten"),
    (
        "minutes over",
        checks(GOOD_LOOK.replace("minutes: 0.5", "minutes: 241")),
        16,
        "from 0 to 240",
        "Correct",
    ),
    (
        "minutes below",
        checks(GOOD_LOOK.replace("minutes: 0.5", "minutes: -1")),
        16,
        "from 0 to 240",
        "Correct",
    ),
    (
        "minutes nan",
        checks(GOOD_LOOK.replace("minutes: 0.5", "minutes: nan")),
        16,
        "from 0 to 240",
        "Correct",
    ),
    ("neither yes nor no", checks(GOOD_LOOK + "    note_only: maybe\n"), 17, "yes or no", "note_only: yes"),
    ("holds anyway", checks(GOOD_LOOK + "    held_for: [battery]\n"), 17, "every work already", "note_only"),
    ("stop without caution", checks(GOOD_LOOK + "    stop: yes\n"), 17, "no caution", "caution"),
    ("shows nothing known", checks(GOOD_LOOK + "    shows: tone\n"), 17, '"tone"', '"tones"'),
    (
        "shown for a probe",
        checks(GOOD_LOOK.replace("kind: look", "kind: probe") + "    shows: tones\n    probe: p\n"),
        17,
        '"shows" has no meaning for a probe',
        "Take it out",
    ),
    (
        "check twice",
        checks(GOOD_LOOK, GOOD_LOOK),
        17,
        'check "flush" stands here a second time',
        "id of its own",
    ),
    ("step twice", checks(GOOD_LOOK).replace("checks:", "  - hand-back\nchecks:"), 9, "second time", "own"),
    (
        "step is a sentence",
        checks(GOOD_LOOK).replace("checks:", "  - Fit the feet\nchecks:"),
        9,
        "cannot be a step",
        "id",
    ),
    ("step leads back", HEAD + STEPS + "    leads_to: open\n", 9, "does not come after", "arrived"),
    ("step with a typo", HEAD + STEPS.replace("name:", "nmae:"), 7, '"nmae"', '"name"'),
    (
        "key of another kind",
        checks(GOOD_LOOK + "    stations: [a]\n"),
        17,
        "no meaning for a look",
        "Take it out",
    ),
    (
        "measure without stations",
        checks(MEASURE.replace("    stations: [left, right]\n", "") + LIMIT),
        10,
        "no stations",
        "stations:",
    ),
    ("measure without limit", checks(MEASURE), 10, "no limit", "at_most"),
    ("measure in volts", checks(MEASURE + LIMIT.replace("mm", "V")), 18, "judged in mm", "unit"),
    (
        "limit without source",
        checks(MEASURE + "    limit: {at_most: 0.30 mm, rule: simple}\n"),
        18,
        "needs its source",
        "common practice",
    ),
    ("limit without bound", checks(MEASURE + "    limit: {rule: simple, source: x}\n"), 18, "bound", ""),
    (
        "limit upside down",
        checks(MEASURE + "    limit: {at_least: 2 mm, at_most: 1 mm, rule: simple, source: x}\n"),
        18,
        "above the upper bound",
        "",
    ),
    (
        "limit of two kinds",
        checks(MEASURE + "    limit: {exactly: 2 mm, at_most: 3 mm, rule: simple, source: x}\n"),
        18,
        "beside another bound",
        "Keep one",
    ),
    (
        "limit without unit",
        checks(MEASURE + LIMIT.replace(" mm", "")),
        18,
        "not a number with its unit",
        "0.30 mm",
    ),
    ("limit in a strange unit", checks(MEASURE + LIMIT.replace("mm", "inch")), 18, '"inch"', "mm"),
    (
        "limit far too large",
        checks(MEASURE + LIMIT.replace("0.30", "9" * 400)),
        18,
        "not a number that can",
        "",
    ),
    ("unknown rule", checks(MEASURE + LIMIT.replace("guarded", "guard")), 18, '"guard"', '"guarded"'),
    (
        "count that is guarded",
        checks(
            GOOD_LOOK.replace("look", "count", 1)
            + "    limit: {exactly: 0 pieces, rule: guarded, source: x}\n"
        ),
        17,
        "A count is exact",
        "rule: count",
    ),
    (
        "probe without name",
        checks(PROBE.replace("    probe: charger-seen\n", LIMIT)),
        10,
        'no "probe"',
        "probe:",
    ),
    ("unknown probe", checks(PROBE.replace("-seen", "-sen") + LIMIT), 17, "no probe", '"charger-seen"'),
    (
        "photo that stops",
        checks(GOOD_LOOK.replace("kind: look", "kind: photo") + "    stop: yes\n    caution: Stop.\n"),
        17,
        '"stop" has no meaning for a photo',
        "Take it out",
    ),
    (
        "photo with a limit",
        checks(GOOD_LOOK.replace("kind: look", "kind: photo") + LIMIT),
        17,
        '"limit" has no meaning for a photo',
        "Take it out",
    ),
    ("wait without a time", checks(GOOD_LOOK.replace("kind: look", "kind: wait")), 10, 'no "wait"', "20 min"),
    (
        "wait of no time",
        checks(GOOD_LOOK.replace("kind: look", "kind: wait") + "    wait: 0 min\n"),
        17,
        "longer than 0",
        "20 min",
    ),
    (
        "wait in millimetres",
        checks(GOOD_LOOK.replace("kind: look", "kind: wait") + "    wait: 3 mm\n"),
        17,
        '"3 mm" is no time',
        "20 min",
    ),
    ("unknown step", checks(GOOD_LOOK + "    before: [hand-bak]\n"), 17, 'a step "hand-bak"', '"hand-back"'),
    ("unknown step after", checks(GOOD_LOOK + "    after: chrge\n"), 17, 'a step "chrge"', '"charge"'),
]


@pytest.mark.parametrize(
    ("text", "line", "what", "next_step"), [each[1:] for each in MISTAKES], ids=[each[0] for each in MISTAKES]
)
def test_a_mistake_is_told_with_its_line_and_a_way_out(
    text: str, line: int, what: str, next_step: str
) -> None:
    found = find_mistakes(
        text,
        name="made.yaml",
        known_probes={"charger-seen": Unit.COUNT},
        known_steps=frozenset({"charge", "hand-back"}),
    )
    here = [error for error in found if what in error.what.casefold() or what in error.what]
    assert here, [str(error) for error in found]
    assert here[0].where == f"made.yaml:{line}"
    assert here[0].what.startswith(f"made.yaml:{line}: ")
    assert next_step in here[0].next_step


def test_all_mistakes_are_found_at_once_in_the_order_of_their_lines() -> None:
    text = checks(
        GOOD_LOOK.replace("kind: look", "kind: lok"),
        GOOD_LOOK.replace("id: flush", "id: other").replace("stage: closed", "stage: clsed"),
    ).replace("title:", "titel:")
    found = find_mistakes(text, name="f")
    assert [error.where for error in found] == ["f:1", "f:4", "f:11", "f:22"]
    with pytest.raises(ChecklistError, match="f:1: "):
        parse_checklist(text, name="f")


def test_a_good_checklist_has_no_mistake_and_keeps_its_text() -> None:
    text = checks(GOOD_LOOK)
    assert find_mistakes(text, name="f") == []
    checklist = parse_checklist(text, name="f")
    assert (checklist.id, checklist.revision, checklist.text) == ("made", 3, text)
    assert checklist.order == ("hand-back",)


@pytest.mark.parametrize("word", ["no", "yes", "on", "0.30", "1e3", "2026-01-02", "0x10", "07"])
def test_words_that_yaml_would_turn_into_something_else_stay_as_written(word: str) -> None:
    assert only(GOOD_LOOK.replace("seam", word)).place == word


@pytest.mark.parametrize(
    ("written", "meant"), [("yes", True), ("true", True), ("No", False), ("false", False)]
)
def test_flags_are_read_as_people_write_them(written: str, *, meant: bool) -> None:
    assert only(GOOD_LOOK + f"    note_only: {written}\n").note_only is meant


def test_a_limit_carries_bound_rule_and_source() -> None:
    limit = only(MEASURE + LIMIT).limit
    assert limit is not None
    assert limit.upper == Quantity(value=0.30, unit=Unit.MILLIMETRE)
    assert (limit.lower, limit.rule, limit.source) == (None, Rule.GUARDED, "common practice, no source")


def test_exactly_sets_both_bounds() -> None:
    check = only(
        GOOD_LOOK.replace("kind: look", "kind: count")
        + "    limit: {exactly: 0 pieces, rule: count, source: x}\n"
    )
    assert check.limit is not None
    assert check.limit.lower == check.limit.upper == Quantity(value=0, unit=Unit.COUNT)


def test_a_wait_takes_its_minutes_from_its_time() -> None:
    wait = GOOD_LOOK.replace("kind: look", "kind: wait").replace("    minutes: 0.5\n", "    wait: 20 min\n")
    check = only(wait.replace("    good: Cover lies flush.\n", ""))
    assert (check.kind, check.wait_s, check.minutes, check.good) == (Kind.WAIT, 1200.0, 20.0, "")


def test_a_folded_text_becomes_one_line() -> None:
    assert only(GOOD_LOOK + "    why: >-\n      One.\n      Two.\n").why == "One. Two."


def test_a_file_that_is_not_utf8_is_refused_at_its_line(tmp_path: Path) -> None:
    path = tmp_path / "latin.yaml"
    path.write_bytes((HEAD + "# caf\xe9\n").encode("latin-1"))
    with pytest.raises(ChecklistError, match=r"latin\.yaml:5: Byte 0xe9 is not UTF-8"):
        load_checklist(path)


def test_a_file_over_one_mebibyte_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "big.yaml"
    path.write_bytes(b"#" * (MAX_BYTES + 1))
    with pytest.raises(ChecklistError, match="larger than 256 KiB"):
        load_checklist(path)
    with pytest.raises(ChecklistError, match="larger than 256 KiB"):
        parse_checklist("#" * (MAX_BYTES + 1), name="f")


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = tmp_path / "windows.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + checks(GOOD_LOOK).replace("\n", "\r\n").encode())
    assert load_checklist(path).checks[0].good == "Cover lies flush."


def test_a_missing_file_is_wrong_use_and_no_traceback(tmp_path: Path) -> None:
    with pytest.raises(WrongUseError, match=r"nowhere\.yaml cannot be read"):
        load_checklist(tmp_path / "nowhere.yaml")
    with pytest.raises(WrongUseError, match="cannot be read"):
        load_checklist(tmp_path)


# Pieces that lead deep into the reader, mixed with anything at all.
PIECES = st.sampled_from(
    [
        *HEAD.splitlines(keepends=True),
        *STEPS.splitlines(keepends=True),
        *GOOD_LOOK.splitlines(keepends=True),
        LIMIT,
        "checks:\n",
        "  - ",
        "? ",
        ": ",
        "[",
        "]",
        "{",
        "}",
        "&a ",
        "*a",
        "!!x ",
        '"\\x',
        "'",
        "|\n",
        ">-\n",
        "---\n",
        "...\n",
        "%TAG ! x\n",
        "%YAML 1.9\n",
        "<<: ",
        "\t",
        "\u2028",
        "\ufeff",
        "no",
        "~",
        "9" * 30,
    ]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.one_of(PIECES, st.text(max_size=8)), max_size=25).map("".join))
def test_any_text_is_a_checklist_or_a_checklist_error(text: str) -> None:
    found = find_mistakes(text, name="f", known_probes={})
    assert all(error.where.startswith("f:") for error in found)
    if found:
        with pytest.raises(ChecklistError, match=r"^f:"):
            parse_checklist(text, name="f", known_probes={})
    else:
        assert parse_checklist(text, name="f").text == text


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_a_checklist_or_a_checklist_error(data: bytes) -> None:
    # Bytes at random spell no checklist: it is always an error, and one of ours.
    with pytest.raises(ChecklistError, match=r"^f:"):
        parse_checklist(decode(data, name="f"), name="f")


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_a_good_checklist_with_a_stretch_replaced_never_ends_otherwise(data: st.DataObject) -> None:
    text = checks(GOOD_LOOK, MEASURE.replace("flush", "gaps") + LIMIT, PROBE.replace("flush", "seen") + LIMIT)
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 40)))
    changed = text[:start] + data.draw(st.text(max_size=10)) + text[end:]
    found = find_mistakes(changed, name="f")
    if not found:
        assert parse_checklist(changed, name="f").text == changed
