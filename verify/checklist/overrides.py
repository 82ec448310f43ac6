"""A shop's own limits, in place of those of shipped checks.

(1) A file of them (`format: shop-limits/1`, or the key `limits` of `format: shop/1`) names shipped checks,
each with bounds, source and what good looks like now, or with `options` that the shipped check has, as the
errors that are assumed. (2) They are written below the text of the shipped checklist, as its key
`shop_limits`: one text with one hash then tells all that was used, and the journal needs nothing else.
(3) Who reads such a text gets the shop's limits, with
the shipped ones beside them. The decision rule stays as it was shipped.
"""

import json
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import msgspec

from verify.checklist.convert import MOST_WORDS_GOOD, read_bounds
from verify.checklist.fields import Fields, head
from verify.checklist.model import Check, Checklist
from verify.checklist.near_miss import did_you_mean, nearest
from verify.checklist.nodes import Mistakes, Scalar, Table, read_tree
from verify.judge import Limit
from verify.values import Quantity, dimension, parse_quantity
from verify.values.errors import ChecklistError, InvalidValueError

SHOP_LIMITS_FORMAT = "shop-limits/1"
KEY = "shop_limits"

_KINDS = ("checklist", "specimens", "shop-limits", "shop")
_BOUNDS = ("at_least", "at_most", "exactly")
_ENTRY_KEYS = (*_BOUNDS, "source", "good", "options")
_FORMAT_LINE = re.compile(rb"""\s*["']?format["']?\s*:\s*["']?([\w -]{1,40})""")
_HEAD_BYTES = 4096


class Override(msgspec.Struct, frozen=True, kw_only=True):
    """A shop's limit for one check, or None where it sets options only.

    options: those that it sets; source: of the entry. written: key to text, as in the shop's file; line: of
    the entry.
    """

    check: str
    limit: Limit | None
    good: str
    options: Mapping[str, str] = {}
    source: str = ""
    written: Mapping[str, str | Mapping[str, str]]
    line: int


def format_word(path: Path) -> str:
    """Return the kind of file that its first key names ("checklist"); the nearest one where misspelt.

    Empty where it names none of ours, or cannot be read.
    """
    try:
        with path.open("rb") as file:
            lines = file.read(_HEAD_BYTES).removeprefix(b"\xef\xbb\xbf").splitlines()
    except OSError:
        return ""
    first = next(
        (line for line in lines if line.strip() and not line.lstrip().startswith((b"#", b"---"))), b""
    )
    found = _FORMAT_LINE.match(first)
    return "" if found is None else nearest(found[1].decode(), _KINDS) or ""


def is_shop_limits(path: Path) -> bool:
    """Return whether the file is one of a shop's limits and nothing else."""
    return format_word(path) == "shop-limits"


def is_shop(path: Path) -> bool:
    """Return whether the file is a shop's own, which may set limits too."""
    return format_word(path) == "shop"


def parse_shop_limits(text: str, *, name: str, checklists: Iterable[Checklist]) -> tuple[Override, ...]:
    """Read a shop's limits; checklists: the shipped ones. Raise ChecklistError for the first mistake."""
    found, mistakes = _read(text, name=name, checklists=checklists)
    if mistakes:
        raise mistakes[0]
    return found


def find_limit_mistakes(text: str, *, name: str, checklists: Iterable[Checklist]) -> list[ChecklistError]:
    """Return all mistakes of a file of a shop's limits; empty where it is good."""
    return _read(text, name=name, checklists=checklists)[1]


def extended(checklist: Checklist, overrides: Iterable[Override]) -> str:
    """Return the checklist's text with those limits below that differ from its own; else as it is."""
    lines = []
    for check in checklist.checks:
        for each in overrides:
            if each.check == check.id and _changes(check, each):
                keys = ", ".join(f"{key}: {_as_text(value)}" for key, value in each.written.items())
                lines.append(f"  {check.id}: {{{keys}}}\n")
    if not lines:
        return checklist.text
    start = checklist.text if checklist.text.endswith("\n") else f"{checklist.text}\n"
    return f"{start}\n# The shop's own limits, in place of those above.\n{KEY}:\n{''.join(lines)}"


def read_overrides(table: Table, checks: Iterable[Check], mistakes: Mistakes) -> tuple[Override, ...]:
    """Read entries, each held against the check that it names; mistakes are noted with their lines."""
    known = {check.id: check for check in checks}
    limited = [check.id for check in known.values() if check.limit is not None or check.options]
    found = []
    for key, node in table.entries:
        check = known.get(key.text)
        if check is None:
            mistakes.add(
                key.line, f'No shipped check is named "{key.text}".', did_you_mean(key.text, limited)
            )
        elif check.limit is None and not check.options:
            mistakes.add(
                key.line,
                f'The check "{check.id}" has no limit.',
                f"Checks with one: {', '.join(sorted(limited))}.",
            )
        elif not isinstance(node, Table):
            mistakes.add(
                key.line, f'"{check.id}" must have keys of its own.', 'Write: {at_most: "0.25 mm", …}.'
            )
        else:
            override = _override(check, key, node, mistakes)
            found += [] if override is None else [override]
    return tuple(found)


def applied(checks: Iterable[Check], overrides: Iterable[Override]) -> tuple[Check, ...]:
    """Return the checks with the shop's limits, the shipped ones kept beside."""
    by_check = {each.check: each for each in overrides}
    return tuple(
        msgspec.structs.replace(
            check,
            **_limited(check, by_check[check.id]),
            options={**check.options, **by_check[check.id].options},
            shop_options=_set_otherwise(check, by_check[check.id]),
            options_source=by_check[check.id].source if _set_otherwise(check, by_check[check.id]) else "",
        )
        if check.id in by_check
        else check
        for check in checks
    )


def _limited(check: Check, override: Override) -> dict[str, Any]:
    if override.limit is None:
        return {}
    return {"limit": override.limit, "good": override.good, "shipped_limit": check.limit}


def _set_otherwise(check: Check, override: Override) -> dict[str, str]:
    """Return the options that the shop sets to something else than shipped."""
    return {name: text for name, text in override.options.items() if check.options.get(name) != text}


def _changes(check: Check, override: Override) -> bool:
    limit = check.limit
    other_limit = limit is not None and override.limit is not None and not _same(limit, override.limit)
    return other_limit or bool(_set_otherwise(check, override))


def _as_text(value: str | Mapping[str, str]) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return f"{{{', '.join(f'{key}: {_as_text(text)}' for key, text in value.items())}}}"


def _read(
    text: str, *, name: str, checklists: Iterable[Checklist]
) -> tuple[tuple[Override, ...], list[ChecklistError]]:
    mistakes = Mistakes(name)
    found: tuple[Override, ...] = ()
    try:
        top = head(read_tree(text, mistakes), expected=SHOP_LIMITS_FORMAT, mistakes=mistakes)
        fields = Fields(top, known=("format", "limits"), owner="file of shop limits", mistakes=mistakes)
        table = fields.inner("limits")
        if table is not None:
            found = read_overrides(table, (check for each in checklists for check in each.checks), mistakes)
        if not fields.has("limits") or (table is not None and not table.entries):
            fields.wrong("limits", "The file sets no limit.", "Add: limits: {CHECK: {at_most: …}}.")
    except ChecklistError as error:
        mistakes.end(error)
    return found, mistakes.in_order()


def _override(check: Check, name: Scalar, table: Table, mistakes: Mistakes) -> Override | None:
    noted = len(mistakes.found)
    fields = Fields(table, known=_ENTRY_KEYS, owner="shop limit", mistakes=mistakes)
    options = _options(check, fields)
    written: dict[str, str | Mapping[str, str]] = {
        key.text: node.text for key, node in table.entries if isinstance(node, Scalar)
    }
    if options:
        written["options"] = options
    if options and not any(fields.has(key) for key in (*_BOUNDS, "good")):
        source = fields.text("source")
        if len(mistakes.found) > noted:
            return None
        return Override(
            check=check.id,
            limit=None,
            good="",
            options=options,
            source=source,
            written=written,
            line=name.line,
        )
    if check.limit is None:
        mistakes.add(name.line, f'The check "{check.id}" has no limit.', "It can only be given options.")
        return None
    limit = _shop_limit(check, check.limit, name, fields)
    if limit is None or len(mistakes.found) > noted:
        return None
    return Override(
        check=check.id,
        limit=limit,
        good=fields.text("good"),
        options=options,
        source=limit.source,
        written=written,
        line=name.line,
    )


def _options(check: Check, fields: Fields) -> Mapping[str, str]:
    """Return the options that are set, each one that the shipped check has, of its dimension."""
    table = fields.inner("options")
    if table is None:
        return {}
    inner = Fields(table, known=check.options, owner=f'check "{check.id}"', mistakes=fields.mistakes)
    found = fields.words("options")
    for key, text in found.items():
        if key in check.options:
            unit = parse_quantity(check.options[key]).unit
            quantity = inner.quantity(key, of=unit)
            if quantity is not None and quantity.value < 0:
                inner.wrong(key, f'"{text}" is below 0.', f'Shipped: "{check.options[key]}".')
    return found


def _shop_limit(check: Check, shipped: Limit, name: Scalar, fields: Fields) -> Limit | None:
    mistakes, noted = fields.mistakes, len(fields.mistakes.found)
    lower, upper, source = read_bounds(fields)
    # The shipped sentence tells the shipped number: beside another limit it would mislead.
    fields.sentence("good", most_words=MOST_WORDS_GOOD)
    if len(mistakes.found) > noted:
        return None
    for key, bound, was in (("at_least", lower, shipped.lower), ("at_most", upper, shipped.upper)):
        _judge_bound(fields, key, bound, was, other=shipped.lower or shipped.upper)
    if len(mistakes.found) > noted:
        return None
    try:
        limit = Limit(lower=lower, upper=upper, rule=shipped.rule, source=source)
    except InvalidValueError as error:
        mistakes.add(name.line, error.what, error.next_step or "Correct the bounds.")
        return None
    if not check.may_be_accepted and not _stricter(limit, shipped):
        mistakes.add(
            name.line,
            f'Nobody may accept "{check.id}" as a flaw: its limit can only be made stricter.',
            f"Shipped: {bounds_text(shipped)}.",
        )
        return None
    return limit


def _judge_bound(
    fields: Fields, key: str, bound: Quantity | None, was: Quantity | None, *, other: Quantity | None
) -> None:
    if bound is None:
        if was is not None:
            fields.wrong(key, f'The shipped limit has also "{key}: {was}".', "Write this bound too.")
        return
    wanted = (was or other or bound).unit
    if dimension(bound.unit) != dimension(wanted):
        at = key if fields.has(key) else "exactly"
        fields.wrong(at, f"This check is judged in {wanted}, not in {bound.unit}.", "Correct the unit.")


def bounds_text(limit: Limit) -> str:
    """Return the bounds in a checklist's own words: "at_least: 3 V, at_most: 4.45 V"."""
    if limit.lower is not None and limit.lower == limit.upper:
        return f"exactly: {limit.lower}"
    bounds = (("at_least", limit.lower), ("at_most", limit.upper))
    return ", ".join(f"{key}: {bound}" for key, bound in bounds if bound is not None)


def _stricter(limit: Limit, shipped: Limit) -> bool:
    """Return whether whatever is within the limit is within the shipped one."""
    for bound, was, sign in ((limit.lower, shipped.lower, 1), (limit.upper, shipped.upper, -1)):
        if was is not None and (bound is None or sign * (bound.to(was.unit).value - was.value) < 0):
            return False
    return True


def _same(limit: Limit, shipped: Limit) -> bool:
    return _stricter(limit, shipped) and _stricter(shipped, limit)
