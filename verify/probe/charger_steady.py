"""Automatic check: whether the charger stays while its plug is moved.

Each sample: (1) without a charger input that can be read it ends unknown; (2) hands show that they are at
the plug: it goes out and in again; (3) from then on it is moved, each way in turn, and what comes and goes
is counted; (4) where a sample came late, nobody watched: it begins anew.
"""

from collections import Counter
from collections.abc import Mapping

from verify.machine import Sample
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.watching import NO_CHARGER_INPUT, Asking, counted, not_found, refuse_others, seconds_between
from verify.values import Instant, Unit

_WAYS = ("up", "down", "left", "right", "in", "out")
_EACH_WAY_S = 5.0  # a cold joint lets go within it [common practice, no source]
_SETTLE_S = 5.0  # an input may come and go while charger and machine agree on a voltage [common practice]
_LATE_S = 5.0  # between two samples further apart a loss and its return are missed [common practice]
_MOST_BEGINNINGS = 4  # broken off by sleep, restart or slow reading [common practice, no source]
_MOST_UNREAD = 3  # an input may be unreadable for some samples when it changes (observed in the field)
_BLIND = "No loss was seen, but at times the input could not be read. Ask this again, and watch its light."
_SOURCE = "charger inputs while the plug was moved"


def charger_steady(options: Mapping[str, str], context: Context) -> Probe:
    """Count how often a charger input came or went while its plug was moved six ways, 5 s each.

    Unit: pieces. Wants the plug out and in again, so that hands are at it; counts from 5 s after that, for
    30 s, a sample a second: a loss and its return are two. Of several inputs the one that changed most
    counts, as one plug can show as two. A loss that is shorter than a second may be missed: watch the
    charger's light as well. In doubt where none was counted and the input could not be read at times. Unknown
    where it never can, or samples keep coming more than 5 s apart.
    Source: the system's list of power supplies; ways and times are common practice, no source.
    Caution: press gently, by the plug's grip. A plug that is hot, smells or sparks: switch off at the wall.
    """
    del context
    refuse_others("charger-steady", options)
    return _ChargerSteady()


class _ChargerSteady:
    def __init__(self) -> None:
        self._out = Asking(want=Want.CHARGER_OUT)
        self._in = Asking(want=Want.CHARGER_IN)
        self._before: Instant | None = None
        self._unread = self._beginnings = 0
        self._was_out = False
        self._since: Instant | None = None
        self._inputs: dict[str, bool] = {}
        self._changes: Counter[str] = Counter()
        self._blind = False

    def step(self, sample: Sample) -> Working | Finding:
        before, self._before = self._before, sample.at
        power_in = _in(sample)
        # (1)
        if power_in is None:
            self._unread += 1
            if self._unread > _MOST_UNREAD:
                return self._unknown(sample.reasons.get("adapters") or NO_CHARGER_INPUT)
        else:
            self._unread = 0
        # (4)
        step_s = None if before is None else seconds_between(before, sample.at)
        if self._since is not None and (step_s is None or step_s > _LATE_S):
            self._since, self._was_out = None, False
            if self._beginnings >= _MOST_BEGINNINGS:
                return self._unknown(
                    "The watch was broken off too often. Leave the machine awake, try again."
                )
        # (2)
        if self._since is None and (power_in is not True or not self._was_out):
            return self._ask(sample, power_in=power_in)
        if self._since is None:
            self._begin(sample.at)
        # (3)
        return self._count(sample, self._since or sample.at)

    def _ask(self, sample: Sample, *, power_in: bool | None) -> Working | Finding:
        """Ask for the plug out, then in."""
        if power_in is True:
            asked = self._out.ask(sample, "Then push it in again.")
        else:
            # What cannot be read is not out.
            self._was_out = self._was_out or power_in is False
            asked = self._in.ask(sample, "Keep hold of its plug.")
        if asked is None:
            return self._unknown("The plug was asked for, and nobody moved it.")
        return Working(text=asked.text, want=asked.want, often=True)

    def _begin(self, at: Instant) -> None:
        self._out.done()
        self._in.done()
        self._beginnings += 1
        self._since, self._was_out = at, False
        self._inputs, self._changes, self._blind = {}, Counter(), False

    def _count(self, sample: Sample, since: Instant) -> Working | Finding:
        watched_s = sample.at.elapsed_s - since.elapsed_s - _SETTLE_S
        self._blind = self._blind or (watched_s > 0 and _in(sample) is None)
        for adapter in sample.adapters:
            if adapter.online is None:
                continue
            before = self._inputs.get(adapter.name)
            self._inputs[adapter.name] = adapter.online
            if watched_s > 0 and before is not None and before is not adapter.online:
                self._changes[adapter.name] += 1
        if watched_s < 0:
            return Working(text="Keep hold of the plug.", seconds_left=-watched_s, often=True)
        whole_s = len(_WAYS) * _EACH_WAY_S
        if watched_s >= whole_s:
            return self._end()
        return Working(
            text=f"Now {_WAYS[int(watched_s // _EACH_WAY_S)]}. {whole_s - watched_s:.0f} s left.",
            want=Want.PLUG_MOVED,
            fraction=watched_s / whole_s,
            seconds_left=whole_s - watched_s,
            often=True,
        )

    def _end(self) -> Finding:
        count = max(self._changes.values(), default=0)
        text = "The charger stayed while its plug was moved."
        if count:
            text = (
                f"The charger came or went {count} times while its plug was moved. "
                "If it was pulled out by mistake, ask this again."
            )
        elif self._blind:
            text = _BLIND
        doubt = None if count or not self._blind else _BLIND
        return Finding(readings=(counted(count, _SOURCE, doubt),), text=text)

    def _unknown(self, reason: str) -> Finding:
        return not_found(Unit.COUNT, _SOURCE, reason)


def _in(sample: Sample) -> bool | None:
    """Tell whether power comes in, by the inputs that can be read; None where there is none."""
    told = [adapter.online for adapter in sample.adapters if adapter.online is not None]
    return any(told) if told else None
