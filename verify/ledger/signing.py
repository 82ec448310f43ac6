"""Who still has to sign a run that is complete; read from the page that stands in its folder."""

from pathlib import Path

from verify.values.errors import HandbackError


def signing_of(page: Path, *, roles: tuple[str, ...], head: str) -> str:
    """Say in one sentence what the signing waits for.

    roles: who has to sign, in order. head: of the journal as it stands. Whose the keys are is not decided
    here: `handback prove` does.
    """
    # They bring the signature library along: only for a ticket that is complete.
    from verify.record.examine import examine
    from verify.record.page import MARKER
    from verify.report.page_kind import PageKind, kind_of

    try:
        data = page.read_bytes()
    except FileNotFoundError:
        data = b""
    except OSError as error:
        return f"Signing; the report cannot be read: {error.strerror or error}."
    if MARKER not in data:
        return f"Signing: {roles[0]}." if roles else "Signing; the checklists name nobody who has to."
    try:
        examined = examine(data)
    except HandbackError as error:
        return f"Signing again: {error.what}"
    if kind_of(examined.page) is not PageKind.REPORT:
        return "Signing again: the summary lies in the report's place."
    if examined.record.journal_head != head:
        return "Signing again: the run has gone on since the report was signed."
    left = roles[len(examined.seals) :]
    return f"Signing: {left[0]}." if left else "Nothing: all have signed."
