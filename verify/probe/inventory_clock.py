"""Automatic check: whether the clock ran on while the machine was without power.

Without a network nobody here knows the right time. What can be said: time that the run has seen cannot lie in
the future, and a clock that nothing kept starts again years back. What lies between may be another zone.
"""

from collections.abc import Mapping
from datetime import datetime

from verify.machine import Inventory
from verify.probe.inventory_taking import NOTHING_ON_ARRIVAL, Once
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import not_found, refuse_others
from verify.values import Reading, Unit

_SOURCE = "clock behind the latest time known"
_AGREE_S = 120.0  # clocks of two sound computers [common practice, no source]
_ZONE_S = 14 * 3600.0 + _AGREE_S
"""What zones can explain, as one system takes the clock for local time and another for UTC: zones reach from
UTC-12 to UTC+14 (IANA time zone database, from memory)."""

_NOT_STARTED = "The machine was not started anew since arrival: leave it 10 min without power first."
_NO_BOOTS = "Whether the machine was started anew since arrival is not told here. Compare its clock by eye."
_ALREADY = "It was years or days behind on arrival already."
_AHEAD = "On arrival it was ahead of the time that this run knew: it may have been set right since."
_ONE_CLOCK = "The clock that runs without the system cannot be read: the network may have set the other one."
_ANOTHER_ZONE = "It may be in another zone, or another computer's clock is ahead: compare it by eye."


def clock_kept(options: Mapping[str, str], context: Context) -> Probe:
    """Read how far the clock stands behind the latest time that the run knows, after a start anew.

    Unit: s. 0 where it is not behind: that it ran on is then likely, that it is right is not shown. Where the
    network has set the system's clock already, the one that runs without the system still tells. A clock that
    runs ahead is not found. In doubt where a zone can explain it, where it was so on arrival or far ahead
    then, and where it is not behind and the one that runs without the system cannot be read. Unknown without
    an arrival, or where the machine was not started since.
    Source: the run's own lines, from whatever computer; the machine's clocks.
    Caution: machine off and charger out before the battery is unplugged or the clock's cell is touched.
    """
    refuse_others("clock-kept", options)

    def decide(now: Inventory) -> Finding:
        before = context.arrival_inventory
        if before is None:
            return not_found(Unit.SECOND, _SOURCE, NOTHING_ON_ARRIVAL)
        started = now.at.started_since(before.at)
        if started is False:
            return not_found(Unit.SECOND, _SOURCE, _NOT_STARTED)
        latest = before.at.wall if context.said_at is None else max(before.at.wall, context.said_at)
        behind_s = _behind_s(now, latest)
        if started is None and behind_s <= _AGREE_S:
            return not_found(Unit.SECOND, _SOURCE, _NO_BOOTS)
        return _found(now, behind_s, before, context.said_on_arrival)

    return Once(decide, Unit.SECOND, _SOURCE)


def _behind_s(inventory: Inventory, known: datetime | None) -> float:
    """Return how far the worse of both clocks is behind: the system's, and the one that runs without it."""
    behind_s = 0.0 if known is None else (known - inventory.at.wall).total_seconds()
    lag_s = -(inventory.clock_ahead_s or 0.0)
    # The two may keep different zones, and part a little by themselves.
    return max(0.0, behind_s, lag_s if lag_s > _ZONE_S else 0.0)


def _found(now: Inventory, behind_s: float, before: Inventory, known: datetime | None) -> Finding:
    doubt = None if behind_s > 0 or now.clock_ahead_s is not None else _ONE_CLOCK
    text = "The clock is not behind. Compare it with another one: whether it is right is not shown."
    if behind_s > 0:
        text = f"The clock is {_time(behind_s)} behind."
    if behind_s > _ZONE_S:
        text += " Set it, then check again. Has it a cell of its own: check cell and lead."
        doubt = _on_arrival(before, known)
    elif behind_s > _AGREE_S:
        doubt = _ANOTHER_ZONE
    reading = Reading(
        value=behind_s, unit=Unit.SECOND, standard_uncertainty=0.0, source=_SOURCE, reason=doubt
    )
    aside: tuple[Reading, ...] = ()
    if now.clock_ahead_s is not None:
        source = "clock without the system, ahead of its own"
        aside = (Reading(value=now.clock_ahead_s, unit=Unit.SECOND, source=source),)
    return Finding(readings=(reading,), text=text if doubt is None else f"{text} {doubt}", aside=aside)


def _on_arrival(before: Inventory, known: datetime | None) -> str | None:
    """Return what was wrong with the clock on arrival that explains how far it is behind, or None."""
    if _behind_s(before, known) > _ZONE_S:
        return _ALREADY
    ahead_s = 0.0 if known is None else (before.at.wall - known).total_seconds()
    return _AHEAD if ahead_s > _ZONE_S else None


def _time(seconds: float) -> str:
    hours = seconds / 3600
    if hours < 2:
        return f"{seconds / 60:.0f} min" if seconds >= 120 else f"{seconds:.0f} s"
    if hours < 48:
        return f"{hours:.0f} h"
    days = hours / 24
    return f"{days:.0f} days" if days < 730 else f"{days / 365.25:.0f} years"
