"""`handback prove`: is a report whole, who signed it, what does it say."""

import json
import os
import stat
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
import msgspec

from verify.cli.exits import GOOD, NOT_GOOD, exit_code
from verify.record.visible import on_one_line
from verify.values import Outcome, SystemClock
from verify.values.errors import FileFormatError, HandbackError, KeyNotTrustedError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from verify.record.examine import Examined
    from verify.record.key_store import TrustedKey
    from verify.report.prove import Proof

_MOST_BYTES = 512 * 2**20  # 40 pictures of the largest size that is taken over come to less
_OUTCOMES = {
    Outcome.FIT: "ready",
    Outcome.FIT_UNDER_CONCESSION: "ready with a known flaw",
    Outcome.HELD: "not ready",
    Outcome.RETURNED_UNREPAIRED: "returned unrepaired",
}


@click.command(name="prove", context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="For a program to read: a list, one entry a file.")
@click.option(
    "--require",
    type=click.Choice(["complete", "released"]),
    help="Ask for more than whole: all signatures there, or the machine released by them, which only the "
    "whole report does.",
)
@click.option(
    "--card",
    "cards",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Know the key on this card for this once. May be given again.",
)
def command(files: tuple[Path, ...], *, as_json: bool, require: str | None, cards: tuple[Path, ...]) -> int:
    """Prove that a report, or a summary of one, is whole and who signed it.

    Exit code: 0 whole and signed by known keys, whatever the outcome; 1 altered, or not what --require
    asks; 2 wrong use; 3 not a signed report, or signed by a key that is not known. With several files the
    worst one counts, and one that cannot be read does not stop the rest.

    Example: handback prove report.html --require released
    """
    from verify.cli.key import read_card
    from verify.record.key_store import KeyStore, TrustedKey, default_home, utc_text

    now = SystemClock().now().wall
    for_once = tuple(TrustedKey(card=read_card(file), trusted_at=utc_text(now)) for file in cards)
    # The bench's own list first: a key that was revoked there does not count again by a card.
    trusted = (*KeyStore(default_home()).trusted(), *for_once)
    codes: set[int] = set()
    rows: list[dict[str, object]] = []  # of thousands of files only what is told is kept
    for file in files:
        finding = _finding(file, trusted, now, require)
        codes.add(finding.code)
        if as_json:
            rows.append(_row(finding))
        else:
            _show(finding)
    if as_json:
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
    # A finding outweighs "could not be established": it is certain.
    return NOT_GOOD if NOT_GOOD in codes else max(codes)


class _Finding(msgspec.Struct, frozen=True, kw_only=True):
    """What came of one file. claims: what a whole page by unknown keys says of itself."""

    file: Path
    code: int
    proof: "Proof | None" = None
    claims: "Examined | None" = None
    problem: str | None = None
    next_step: str = ""


def _finding(file: Path, trusted: "Sequence[TrustedKey]", now: datetime, require: str | None) -> _Finding:
    from verify.record.examine import examine
    from verify.report.prove import prove_examined

    examined = None
    try:
        examined = examine(_read(file))
        proof = prove_examined(examined, trusted=trusted, at=now)
    except HandbackError as error:
        whole = examined is not None and isinstance(error, KeyNotTrustedError)
        return _Finding(
            file=file,
            code=exit_code(error),
            claims=examined if whole else None,
            problem=error.what,
            next_step=error.next_step,
        )
    met = {None: True, "complete": proof.complete, "released": proof.released}[require]
    return _Finding(
        file=file,
        code=GOOD if met else NOT_GOOD,
        proof=proof,
        problem=None if met else f"It is whole, but not {require}.",
    )


def _read(file: Path) -> bytes:
    try:
        with file.open("rb") as source:
            state = os.fstat(source.fileno())
            small = stat.S_ISREG(state.st_mode) and state.st_size <= _MOST_BYTES
            data = source.read() if small else source.read(_MOST_BYTES + 1)
    except OSError as error:
        raise FileFormatError(
            f"It cannot be read: {error.strerror or error}.", next_step="Check its name and its rights."
        ) from error
    if len(data) > _MOST_BYTES:
        raise FileFormatError(
            f"It is larger than {_MOST_BYTES // 2**20} MiB: no report is.", next_step="Check its name."
        )
    return data


def _row(finding: _Finding) -> dict[str, object]:
    proof, claims = finding.proof, finding.claims
    row: dict[str, object] = {
        "file": str(finding.file),
        "code": finding.code,
        # None: it could not be established.
        "whole": True if proof or claims else False if finding.code == NOT_GOOD else None,
        "problem": finding.problem,
        "next_step": finding.next_step or None,
    }
    if claims is not None:
        row["claims"] = {
            "ticket": claims.record.ticket.id,
            "kind": _kind(claims.page),
            "outcome": claims.record.outcome.value,
            "simulated": claims.record.simulated,
            "scripted": claims.record.scripted,
        }
    if proof is not None:
        told = msgspec.to_builtins(proof)
        row["proof"] = {name: value for name, value in told.items() if name != "record"}
    return row


def _show(finding: _Finding) -> None:
    def say(text: str) -> None:
        click.echo(f"  {on_one_line(text)}")

    click.echo(on_one_line(str(finding.file)))
    if finding.proof is not None:
        _show_proof(finding.proof, say)
    if finding.problem is not None:
        opening = "" if finding.proof else "ALTERED. " if finding.code == NOT_GOOD else "NOT PROVEN. "
        say(f"{opening}{finding.problem}")
    if finding.claims is not None:
        claims = finding.claims.record
        _show_kind(_kind(finding.claims.page), say)
        marks = [
            word for flag, word in ((claims.simulated, "simulation"), (claims.scripted, "scripted")) if flag
        ]
        say(
            f"What it says of itself: ticket {claims.ticket.id}, {_OUTCOMES[claims.outcome]}"
            f"{''.join(f', {mark}' for mark in marks)}."
        )
    if finding.next_step:
        say(finding.next_step)


def _kind(page: bytes) -> str:
    from verify.report.page_kind import kind_of

    return kind_of(page).value


def _show_kind(kind: str, say: "Callable[[str], None]") -> None:
    if kind == "summary":
        say("This is the SUMMARY, one page for the counter, and not the whole report.")


def _show_proof(proof: "Proof", say: "Callable[[str], None]") -> None:
    from verify.report.owner import machine_words

    say(f"Whole: not a byte differs from what was signed. Ticket {proof.ticket}: {_OUTCOMES[proof.outcome]}.")
    _show_kind(proof.kind.value, say)
    say(f"Machine: {machine_words(proof.record.ticket)}.")
    for doubt in proof.doubts:
        say(f"DOUBTFUL. {doubt}")
    for signer in proof.signers:
        say(f"Signed by {signer.name}, {signer.role}, at {signer.time} (key {signer.thumbprint}).")
    for note in proof.notes:
        say(note)
    say(_released(proof))


def _released(proof: "Proof") -> str:
    if proof.released:
        return "Released: fit, and signed by all who have to."
    if proof.kind.value == "summary":
        return "NOT released by this page: only the whole report releases a machine. Prove that one."
    return "NOT released."
