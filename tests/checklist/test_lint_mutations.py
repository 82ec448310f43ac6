"""A thousand mistakes in the shipped checklists, seeded: each is told, on its line, with what was meant."""

import random
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from verify.checklist import STAGES, Kind
from verify.checklist.nodes import MOST_MISTAKES
from verify.checklist.proofread import checklist_mistakes
from verify.checklist.shipped import shipped_checklists
from verify.judge import Rule
from verify.probe import probe_units
from verify.values.errors import ChecklistError

HOW_MANY = 1000
SHIPPED = shipped_checklists()
TEXTS = {each.id: each.text.splitlines() for each in SHIPPED}
STEPS = {step.id for each in SHIPPED for step in each.steps}
PROBES = probe_units()
KEY = re.compile(r"(\s*(?:- )?)([a-z_]+):( .*|$)")


class Mutant(msgspec.Struct, kw_only=True):
    """A text with one mistake. line: where; None: not known. meant: the word that was misspelt."""

    lines: list[str]
    line: int | None = None
    meant: str | None = None


Mutation = Callable[[random.Random, list[str]], Mutant | None]


def misspelt(chance: random.Random, word: str) -> str:
    """Drop, double or swap letters, never the first."""
    at = chance.randrange(1, len(word) - 1)
    left, one, two, right = word[:at], word[at], word[at + 1], word[at + 2 :]
    found = chance.choice([left + two + right, left + one + one + two + right, left + two + one + right])
    return found if found != word else word + word[-1]


def picked(chance: random.Random, lines: list[str], pattern: str) -> tuple[int, re.Match[str]] | None:
    """Pick a line of the checks or steps that the pattern fits; comments and folded text do not count."""
    found = [
        (index, match)
        for index, line in enumerate(lines)
        if not line.lstrip().startswith("#") and (match := re.fullmatch(pattern, line))
    ]
    return chance.choice(found) if found else None


def changed(
    lines: list[str], index: int, *new: str, meant: str | None = None, line: int | None = None
) -> Mutant:
    return Mutant(lines=[*lines[:index], *new, *lines[index + 1 :]], line=line or index + 1, meant=meant)


def head_of(lines: list[str], index: int) -> int:
    """Return the line number of the "- id:" that the line belongs to."""
    return next(at for at in range(index, -1, -1) if lines[at].lstrip().startswith("- id:")) + 1


def key_misspelt(chance: random.Random, lines: list[str]) -> Mutant | None:
    keys = "kind ask good place stage minutes before after voided_by concession caution limit at_least source"
    found = picked(chance, lines, rf"(\s+)({keys.replace(' ', '|')})(:.*)")
    if found is None:
        return None
    index, match = found
    return changed(lines, index, match[1] + misspelt(chance, match[2]) + match[3], meant=match[2])


def word_misspelt(chance: random.Random, lines: list[str]) -> Mutant | None:
    words = "|".join([*Kind, *STAGES, *Rule])
    found = picked(chance, lines, rf"(\s+(?:kind|stage|rule|leads_to): )({words})")
    if found is None:
        return None
    index, match = found
    return changed(lines, index, match[1] + misspelt(chance, match[2]), meant=match[2])


def opening_misspelt(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(\s+voided_by: \[)([a-z-]+)(.*)")
    if found is None:
        return None
    index, match = found
    return changed(lines, index, match[1] + misspelt(chance, match[2]) + match[3], meant=match[2])


def step_misspelt(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(\s+before: \[)([a-z-]+)(.*)")
    if found is None:
        return None
    index, match = found
    wrong = misspelt(chance, match[2])
    return None if wrong in STEPS else changed(lines, index, match[1] + wrong + match[3], meant=match[2])


def probe_misspelt(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(\s+probe: )([a-z-]+)")
    if found is None:
        return None
    index, match = found
    return changed(lines, index, match[1] + misspelt(chance, match[2]), meant=match[2])


def another_unit(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(\s+(?:at_least|at_most|exactly): [\d.]+ )(\S+)")
    if found is None:
        return None
    index, match = found
    return changed(
        lines, index, match[1] + chance.choice([unit for unit in ("Wh", "mm", "°C", "V") if unit != match[2]])
    )


def no_such_unit(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(\s+(?:at_least|at_most|exactly): [\d.]+ )(\S+)")
    return (
        None
        if found is None
        else changed(lines, found[0], found[1][1] + chance.choice(["inch", "mAh", "Volt", "KW"]))
    )


def no_unit(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(\s+(?:at_least|at_most|exactly): [\d.]+)( \S+)")
    return None if found is None else changed(lines, found[0], found[1][1])


def key_missing(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"    (kind|ask|place|stage|minutes|rule|source): \S.*")
    if found is None or not re.match(r"\s*(- )?[a-z_]+:|\s*$|\s*#", ([*lines, ""])[found[0] + 1]):
        return None  # its text goes on in the next line
    return changed(lines, found[0], line=head_of(lines, found[0]), meant=None)


def key_twice(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"    (kind|place|stage|minutes|before|voided_by): \S.*")
    return None if found is None else changed(lines, found[0], *[lines[found[0]]] * 2, line=found[0] + 2)


def id_twice(chance: random.Random, lines: list[str]) -> Mutant | None:
    heads = [index for index, line in enumerate(lines) if line.startswith("  - id: ")]
    checks = [index for index in heads if index > lines.index("checks:")]
    if len(checks) < 2:
        return None
    first, second = sorted(chance.sample(checks, 2))
    return changed(lines, second, lines[first])


def indented_too_far(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"    (kind|place|stage|minutes|before|voided_by): \S.*")
    if found is None or not re.fullmatch(r"\s+(- )?[a-z_]+: [^>|\[{\"'].*", lines[found[0] - 1]):
        return None
    return changed(lines, found[0], " " * chance.randint(1, 3) + lines[found[0]])


def indented_too_little(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"    (kind|place|stage|minutes|before|voided_by): \S.*")
    return None if found is None else changed(lines, found[0], lines[found[0]][chance.choice([1, 3]) :])


def indented_by_a_tab(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"    (kind|place|stage|minutes|before|voided_by): \S.*")
    return None if found is None else changed(lines, found[0], "\t" + lines[found[0]].lstrip())


def another_type(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(    (?:kind|place|stage|minutes|before|voided_by): )\S.*")
    return (
        None
        if found is None
        else changed(lines, found[0], found[1][1] + chance.choice(["{a: b}", "[[a]]", ""]))
    )


def number_out_of_range(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(    minutes: ).*")
    return (
        None
        if found is None
        else changed(lines, found[0], found[1][1] + chance.choice(["-1", "9999", "soon", "1e9", "nan"]))
    )


def sentence_too_long(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(    (?:ask|good): )\S.*")
    return (
        None
        if found is None
        else changed(lines, found[0], found[1][1] + " ".join(["look"] * chance.randint(21, 60)))
    )


def colon_in_a_text(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(    (?:ask|good|place): )([^\"'>].*)")
    return None if found is None else changed(lines, found[0], f"{found[1][1]}Mind: {found[1][2]}")


def not_read_here(chance: random.Random, lines: list[str]) -> Mutant | None:
    found = picked(chance, lines, r"(    (?:place|stage): )(\S.*)")
    return (
        None
        if found is None
        else changed(lines, found[0], found[1][1] + chance.choice(["&a ", "!!str ", "*a #"]) + found[1][2])
    )


def order_contradicted(chance: random.Random, lines: list[str]) -> Mutant | None:
    """Name two steps the other way round than a list that is composed for the same work."""
    own = next(line.removeprefix("id: ") for line in lines if line.startswith("id: "))
    checklist = next(each for each in SHIPPED if each.id == own)
    mine = set(checklist.order)
    pairs = [
        (one, two)
        for each in SHIPPED
        if each is not checklist and (not each.for_work or set(each.for_work) & set(checklist.for_work))
        for one, two in zip(each.order, each.order[1:], strict=False)
        if one not in mine and two not in mine and "hand-back" not in {one, two}
    ]
    if not pairs or "steps:" not in lines:
        return None
    one, two = chance.choice(pairs)
    index = lines.index("steps:")
    mutant = changed(lines, index, "steps:", f"  - {two}", f"  - {one}")
    mutant.line = None
    return mutant


MUTATIONS: tuple[Mutation, ...] = (
    key_misspelt, word_misspelt, opening_misspelt, step_misspelt, probe_misspelt,
    another_unit, no_such_unit, no_unit, key_missing, key_twice, id_twice,
    indented_too_far, indented_too_little, indented_by_a_tab, another_type, number_out_of_range,
    sentence_too_long, colon_in_a_text, not_read_here, order_contradicted,
)  # fmt: skip


def mutant(mutation: Mutation, seed: int) -> tuple[str, Mutant]:
    chance = random.Random(f"{mutation.__name__} {seed}")
    for _ in range(200):
        name = chance.choice(sorted(TEXTS))
        made = mutation(chance, TEXTS[name])
        if made is not None:
            return name, made
    raise AssertionError(f"{mutation.__name__} fits no shipped checklist")


def line_of(error: ChecklistError) -> int:
    return int(error.where.rpartition(":")[2])


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: one.__name__.replace("_", " "))
def test_each_mistake_is_told_on_its_line_with_what_was_meant(mutation: Mutation) -> None:
    for seed in range(HOW_MANY // len(MUTATIONS)):
        name, made = mutant(mutation, seed)
        text = "\n".join(made.lines) + "\n"
        found = checklist_mistakes(text, name=f"{name}.yaml", others=SHIPPED, known_probes=PROBES)
        wrong = made.lines[(made.line or 1) - 1]
        said = f"{name}, seed {seed}, line {made.line}: {wrong!r}: {[*map(str, found)]}"
        assert found, said
        assert all(error.next_step for error in found), said
        if made.line is not None:
            near = [error for error in found if abs(line_of(error) - made.line) <= 1]
            assert near, said
            if made.meant is not None:
                assert any(f'"{made.meant}"' in error.next_step for error in near), said


def test_the_shipped_checklists_themselves_have_no_mistake() -> None:
    for each in SHIPPED:
        found = checklist_mistakes(each.text, name=f"{each.id}.yaml", others=SHIPPED, known_probes=PROBES)
        assert [*map(str, found)] == []


# A real process: what it prints, how it ends, how much memory it took.

HEAD = b"format: checklist/1\nid: bad\nrevision: 1\ntitle: Bad\n"
MEBIBYTE = 1 << 20


def bombs() -> dict[str, bytes]:
    chance = random.Random(20260310)
    layers = b"".join(b"a%d: &a%d [%s]\n" % (n, n, b",".join([b"*a%d" % (n - 1)] * 9)) for n in range(1, 12))
    steps = b"".join(b"- id: s%d\n  name: n\n  stage: open\n" % n for n in range(6000))
    return {
        **{f"random bytes {n}": chance.randbytes(chance.randint(1, 4096)) for n in range(5)},
        **{f"random bytes below a good head {n}": HEAD + chance.randbytes(500) for n in range(3)},
        "exploding anchors": HEAD + b"a0: &a0 [x]\n" + layers,
        "duplicate keys": HEAD + b"title: again\n" * 10000,
        "keys that nobody knows": HEAD + b"".join(b"k%d: v\n" % n for n in range(20000)),
        "deep": HEAD + b"x: " + b"[" * 100000,
        "many steps": HEAD + b"steps:\n" + steps,
        "one long list": HEAD + b"for_work: [" + b",".join(b"w%d" % n for n in range(25000)) + b"]\n",
    }


CHILD = """\
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, (512 << 20, 512 << 20))
from verify.cli import main
try:
    main(["lint", sys.argv[1]])
finally:
    # Of this program alone: ru_maxrss still counts what its parent was when it was started.
    with open("/proc/self/status") as status:
        print("PEAK", *(line.split()[1] for line in status if line.startswith("VmHWM:")), file=sys.stderr)
"""


def linted(path: Path) -> tuple[int, str, int]:
    """Return the exit code, what was printed and the peak memory in KiB; stop it after a minute."""
    ran = subprocess.run(
        [sys.executable, "-c", CHILD, str(path)], capture_output=True, text=True, check=False, timeout=60
    )
    assert "Traceback" not in ran.stdout + ran.stderr
    assert "fault in the tool" not in ran.stderr
    return ran.returncode, ran.stdout, int(ran.stderr.rpartition("PEAK ")[2])


@pytest.mark.parametrize(("name", "data"), bombs().items(), ids=bombs())
def test_a_file_made_to_hurt_ends_in_mistakes(name: str, data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_bytes(data)
    code, out, peak_kib = linted(path)
    lines = out.splitlines()
    assert code == 1, name
    assert 1 <= len(lines) <= MOST_MISTAKES + 1
    assert all(re.match(rf"{re.escape(str(path))}:\d+: ", line) for line in lines)
    assert peak_kib < 128 * 1024


@pytest.mark.parametrize("suffix", ["bad.yaml", "bad.specimens.yaml"], ids=["checklist", "specimens"])
def test_a_hundred_megabytes_are_refused_without_being_read(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / suffix
    with path.open("wb") as file:
        file.write(HEAD)
        for _ in range(100):
            file.write(b"# nothing here\n" * (MEBIBYTE // 15))
    code, out, peak_kib = linted(path)
    assert code == 1
    assert out.startswith(f"{path}:1: The file is larger than 256 KiB.")
    assert peak_kib < 96 * 1024
