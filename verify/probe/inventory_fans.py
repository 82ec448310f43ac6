"""Automatic check: whether every fan of the arrival turns.

Each sample, in this order: (1) a hot pack stops it; (2) a fan that turns is ticked off, and when all are, it
ends; (3) the time that the processor was seen at full load is counted, where the check asked for it; (4) when
the time is over, what never turned is counted, in doubt where a cool machine may rest its fans.
"""

from collections import Counter
from collections.abc import Mapping

from verify.machine import Inventory, ItemKind, Sample
from verify.probe.full_load import SeenLoad
from verify.probe.heat_reading import margin_of
from verify.probe.inventory_taking import NOTHING_ON_ARRIVAL, Taking
from verify.probe.inventory_work import TIES, disturbed_by
from verify.probe.model import Context, Finding, Probe, Working
from verify.probe.watching import Watched, counted, hot_stop, not_found, refuse_others, seconds_option
from verify.values import Unit
from verify.values.errors import WrongUseError

_SOURCE = "fans that never turned"
_WATCH_S = 300.0
"""How long a fan may take to start where nothing is loaded, in s [common practice, no source]."""

_MOST_LOAD_S = 1800.0
_GRACE_S = (
    60.0  # beside the load: a load that never comes does not keep the check [common practice, no source]
)
_WARM_S = 30.0  # of full load: after that a fan that rests is not resting [common practice, no source]
# A graphics chip rests its fan while only the processor works. Names of kernel drivers.
_GRAPHICS = ("amdgpu", "nouveau", "i915", "xe")


def fans_as_arrived(options: Mapping[str, str], context: Context) -> Probe:
    """Count the fans of the arrival that never turned.

    Unit: pieces. With "load" (up to 30 min; 2 min is usual): asks for full load on all cores, and ends as
    soon as every fan turned; without, it reads for 5 min. "fans" (a number) is how many there are, where
    nothing was taken on arrival. A graphics chip's own fan may rest and is left out. In doubt where a fan
    stands and no full load was seen, where its sensor gives a number that no fan has, or where nothing turns
    in a machine that stays cool. Unknown where no fan is shown, then and now.
    Source: the 2 min under full load are common practice, no source.
    Caution: a fan turns: keep fingers, hair and tools out. Under load keep all air openings free.
    """
    refuse_others("fans-as-arrived", options, "load", "fans")
    load_s = seconds_option(options, "load", 0.0)
    if load_s > _MOST_LOAD_S:
        raise WrongUseError(f'"load" is "{options["load"]}": it must be 30 min at most.')
    return _Fans(context, load_s=load_s, told=_number(options.get("fans")))


def _number(text: str | None) -> int | None:
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 8):
        raise WrongUseError(f'"fans" is "{text}": it must be a whole number from 1 to 8.')
    return int(text)


class _Fans:
    def __init__(self, context: Context, *, load_s: float, told: int | None) -> None:
        self._work, self._load_s, self._told = context.work, load_s, told
        self._arrival = context.arrival_inventory
        self._taking = Taking()
        self._watched = Watched()
        self._seen = SeenLoad()
        self._hot = False
        self._expected: Counter[str] | None = None
        self._turned: Counter[str] = Counter()
        self._stood: set[str] = set()

    def step(self, sample: Sample) -> Working | Finding:
        step_s = self._watched.see(sample.at)
        # (1)
        stop = hot_stop(sample)
        if stop is not None:
            ended = not_found(Unit.COUNT, _SOURCE, "Stopped: the battery is too hot.")
            return Finding(readings=ended.readings, text=ended.text, stop=stop)
        if self._expected is None:
            begun = self._begin(sample)
            if begun is not None:
                return begun
        # (2)
        turning = Counter(
            f"{fan.chip} {fan.label}" for fan in sample.fans if fan.rpm and fan.chip not in _GRAPHICS
        )
        self._turned |= turning
        self._stood.update(f"{fan.chip} {fan.label}" for fan in sample.fans if fan.rpm == 0)
        standing = self._standing()
        if not standing:
            return self._end(standing, sample)
        # (3)
        if step_s is not None:
            self._seen.see(sample.cpu.load, step_s)
        margin = margin_of(sample)
        self._hot = self._hot or (not isinstance(margin, str) and margin.at_limit)
        # (4)
        last_s = self._load_s + _GRACE_S if self._load_s else _WATCH_S
        if (
            self._hot
            or self._watched.seconds >= last_s
            or (self._load_s and self._seen.seconds >= self._load_s)
        ):
            return self._end(standing, sample)
        text = f"{sum(self._turned.values())} of {self._of} fans turn; waiting for the rest."
        return Working(
            text=text, seconds_left=max(0.0, last_s - self._watched.seconds), load=self._load_s > 0
        )

    def _begin(self, sample: Sample) -> Working | Finding | None:
        """Find out which fans there should be; None where that is known now."""
        inventory = self._arrival
        if inventory is None:
            taken = self._taking.take(sample)
            if isinstance(taken, Working):
                return taken
            if isinstance(taken, str):
                return not_found(Unit.COUNT, _SOURCE, taken)
            inventory = taken
        self._expected = _fans_of(inventory)
        if not self._expected and self._told is None:
            why = inventory.reasons.get("monitors") or sample.reasons.get("fans") or "No fan speed is shown."
            return not_found(Unit.COUNT, _SOURCE, f"{why} Listen at the outlet.")
        return None

    @property
    def _of(self) -> int:
        return max(sum((self._expected or Counter()).values()), self._told or 0)

    def _standing(self) -> list[str]:
        """Return the fans that never turned; one that is only told of has no name."""
        expected = self._expected or Counter()
        standing = sorted((expected - self._turned).elements())
        # A fan whose monitor was named anew turns under another name: it is not missed.
        renamed = sum((self._turned - expected).values())
        untold = max(0, (self._told or 0) - max(sum(expected.values()), sum(self._turned.values())))
        return standing[: max(0, len(standing) - renamed)] + ["one more"] * untold

    def _cannot_be_read(self, standing: list[str], sample: Sample) -> bool:
        """Tell whether the sensors, and not the fans, may be what stands.

        Either each gave a number that no fan has, or nothing at all turns in a machine that full load leaves
        cool. Of two fans, one that stands while the other turns does stand.
        """
        seen = {f"{fan.chip} {fan.label}" for fan in sample.fans}
        unread = all(name in seen and name not in self._stood for name in standing)
        return unread or (not self._turned and self._told is None and seen.issuperset(standing))

    def _end(self, standing: list[str], sample: Sample) -> Finding:
        doubt = None
        turned = sum(self._turned.values())
        if not self._hot and standing and self._cannot_be_read(standing, sample):
            doubt = "Its speed cannot be read, or the reading is wrong: listen and feel at each outlet."
        elif standing and not self._hot and self._seen.seconds < min(_WARM_S, self._load_s or _WARM_S):
            doubt = "The processor was never seen at full load: a cool machine may rest its fans."
        elif not standing and self._arrival is None and self._told is None:
            doubt = f"{NOTHING_ON_ARRIVAL} A fan that is not shown is not missed."
        seen = {f"{fan.chip} {fan.label}" for fan in sample.fans}
        parts = [f"{turned} of {self._of} fans turned."]
        parts += [
            f"Never: {name}{'' if name in seen or name == 'one more' else ' (no longer shown)'}."
            for name in standing
        ]
        if standing:
            parts.append(disturbed_by(TIES[ItemKind.FAN], self._work))
        if doubt:
            parts.append(doubt)
        return Finding(readings=(counted(len(standing), _SOURCE, doubt),), text=" ".join(parts))


def _fans_of(inventory: Inventory) -> Counter[str]:
    return Counter(
        item.identity for item in inventory.of(ItemKind.FAN) if item.identity.split(" ")[0] not in _GRAPHICS
    )
