"""Words and marks that several screens share. Pure. A mark and a word each: colour is never the only sign."""

from verify.record.visible import on_one_line
from verify.values import Verdict

VERDICT_WORDS = {
    Verdict.CONFORMS: ("+", "good", "green"),
    Verdict.DOES_NOT_CONFORM: ("x", "not good", "bold red"),
    Verdict.UNDECIDED: ("?", "cannot tell yet", "yellow"),
    Verdict.NOT_APPLICABLE: ("-", "does not apply", "dim"),
    Verdict.NOT_DONE: (" ", "not done", "dim"),
}
"""Mark, word and style of each verdict."""

OPENING_WORDS = {
    "base": "base",
    "lid": "lid",
    "pack-unplugged": "battery unplugged",
    "feet-removed": "feet taken off",
}
"""What can be opened again, as it is said on screens."""


def minutes_text(minutes: float) -> str:
    """Write a duration as people say it: "under 1 min", "12 min", "1 h 20 min"."""
    if minutes <= 0:
        return "0 min"
    if minutes < 1:
        return "under 1 min"
    whole = round(minutes)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def left_text(seconds: float) -> str:
    """Write how long something still takes: "about 12 min left", "under 1 min left"."""
    text = minutes_text(seconds / 60)
    return f"{text} left" if text.startswith("under") else f"about {text} left"


def band_text(least_s: float, most_s: float) -> str:
    """Write between which times something still takes: "40 to 55 min left", "under 1 min left"."""
    least, most = (round(seconds / 60) for seconds in (least_s, most_s))
    if least == most or most_s < 60:
        return left_text(most_s)
    if least < 1:
        return f"up to {minutes_text(most)} left"
    if most < 60:
        return f"{least} to {most} min left"
    return f"{minutes_text(least)} to {minutes_text(most)} left"


def shortened(text: str, most: int) -> str:
    """Cut a text that would push the rest off a screen; what is cut is kept, and stands in the report."""
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def verdict_text(verdict: Verdict, because: str) -> str:
    """Write a verdict with its reason; the word is not said twice."""
    word, reason = VERDICT_WORDS[verdict][1], on_one_line(because)
    return reason if word in reason.lower() else f"{word}: {reason}" if reason else word


def counted(number: int, one: str, more: str) -> str:
    """Write a number with its noun: "1 check", "3 checks"."""
    return f"{number} {one if number == 1 else more}"
