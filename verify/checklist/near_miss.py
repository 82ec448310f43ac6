"""What was probably meant: the known word nearest to the one that was written."""

import difflib
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str], *, cutoff: float = 0.6) -> str | None:
    """Return the known word nearest to `word`, or None where none is near; cutoff: 0 any, 1 the same."""
    # Underscores, spaces and dashes are mixed up more often than letters.
    plain = {_plain(each): each for each in known}
    found = difflib.get_close_matches(_plain(word), plain, n=1, cutoff=cutoff)
    return plain[found[0]] if found else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return the sentence that helps: the nearest known word, else all that are known."""
    words = sorted(set(known))
    near = nearest(word, words)
    if near is not None:
        return f'Did you mean "{near}"?'
    return f"Known: {', '.join(words)}." if words else ""


def _plain(word: str) -> str:
    return word[:80].lower().replace("_", "-").replace(" ", "-")
