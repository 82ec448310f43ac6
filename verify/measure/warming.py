"""How a processor warms under a steady load, or cools after it: where it will end, before it is there.

A sample a second goes into means over spans that grow with time, so that an hour is some two hundred numbers.
What is asked, at most every half minute, is a fit of two time constants to them (`two_mass`). The answer is
"undecided", with the reason, where something else than the cooler holds the temperature, or it is too early.
"""

import math
from collections.abc import Iterable

import msgspec

from verify.measure.interval import COVERS_95, Interval
from verify.measure.two_mass import Mean, TwoMass, fit_two_mass
from verify.measure.uncertainty import resolution

__all__ = ["HeatCourse", "Warmed", "Warming", "warming_of"]

KNOWN_WITHIN_K = 3.0
"""Half of the 95 % band up to which an end counts as known, in K: of simulated pairs of masses whose end is
known so at 40 % of their settling time, 96 % and more are within 2 K."""

FULL_FROM = 0.80
"""Load, 0 to 1, that counts as full: other programs and the reading itself take turns [common practice]."""

_SPAN_GROWS = 1.05
_LEAST_S = 60.0  # the chip alone is not over before [common practice, no source]
LOST_S = 5.0
"""A full load that is not seen for so long has ended, in s: its lease of 3 s, and two samples."""

_IDLE_S = 30.0  # how long a mean at rest reaches back
_DITHER = 0.42  # of a step: the root of the sum of (1/3)² of noise, and of the rounding's 1/12
_MOST_NOISE_K = 3.0  # about the curve: more is no answer to one steady load [common practice, no source]
_PLAUSIBLE_C = (0.0, 150.0)

_LOAD_LOOK_S, _LOAD_WANDERS = 20.0, 0.04
"""A mean load over so long that moves by more is not steady: as much of the rise goes with it [a load of x %
warms by about x % of full load]."""

# A fan that changes so much within 20 s has stepped; one that follows the temperature is slower, but for the
# first minute [common practice, no source].
_FAN_STEP, _FAN_LOOK_S, _FAN_EARLY_S, _FAN_LEAST_RPM = 0.25, 20.0, 60.0, 800.0
_FAN_BIAS = 0.20
"""A fan that follows ends the rise sooner than the fit tells: by up to this share of what is left, times the
fan's own change [from a simulation of two masses whose outer one is cooled 20 to 80 % better]."""


class Warmed(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of a response. steady_c: where it ends, in °C; None while undecided, then `why` tells.

    band_c: the 95 % band as it stands, also where it is too wide to count as known. fast_s, slow_s: time
    constants of chip and heat sink, None where no fit was made. seconds: how long it was watched.
    """

    steady_c: Interval | None = None
    band_c: Interval | None = None
    fast_s: Interval | None = None
    slow_s: Interval | None = None
    seconds: float = 0.0
    why: str = ""


class Warming:
    """The response to one step of load, up or down, from its first sample on."""

    def __init__(self) -> None:
        self._began_s: float | None = None
        self._from_s = self._last_s = 0.0
        self._spans: dict[int, _Span] = {}
        self._before_c: float | None = None
        self._step_k: float | None = None
        self._fan: tuple[float, float] | None = None
        self._fan_from: float | None = None
        self._fan_stepped = self._throttled = False
        self._loads: tuple[float, float, int] | None = None
        self._load_means = math.inf, -math.inf

    @property
    def seconds(self) -> float:
        """How long it has been watched, in s."""
        return 0.0 if self._began_s is None else self._last_s - self._began_s

    def see(
        self,
        at_s: float,
        celsius: float,
        *,
        rpm: float | None = None,
        throttled: bool = False,
        load: float | None = None,
    ) -> None:
        """Take in a reading; times rise, others are left out.

        rpm: of the fastest fan. throttled: the clock was taken back for heat. load: 0 to 1. Each None where
        it is not told.
        """
        if self._began_s is None:
            self._began_s = self._from_s = at_s
        elif at_s <= self._last_s:
            return
        self._last_s = at_s
        self._throttled = self._throttled or throttled
        if rpm is not None:
            self._see_fan(at_s, rpm)
        if load is not None and load >= FULL_FROM:
            self._see_load(at_s, load)
        if self._before_c is not None and celsius != self._before_c:
            change_k = abs(celsius - self._before_c)
            self._step_k = change_k if self._step_k is None else min(self._step_k, change_k)
        self._before_c = celsius
        place = int(math.log(1 + at_s - self._from_s) / math.log(_SPAN_GROWS))
        self._spans.setdefault(place, _Span()).see(at_s - self._from_s, celsius)

    def _see_load(self, at_s: float, load: float) -> None:
        began_s, total, count = self._loads or (at_s, 0.0, 0)
        self._loads = began_s, total + load, count + 1
        if at_s - began_s >= _LOAD_LOOK_S:
            mean = (total + load) / (count + 1)
            self._load_means = min(self._load_means[0], mean), max(self._load_means[1], mean)
            self._loads = None

    def _see_fan(self, at_s: float, rpm: float) -> None:
        if self._fan is None or self._fan_from is None:
            self._fan, self._fan_from = (at_s, rpm), rpm
            return
        looked_s, before = self._fan
        stepped = abs(rpm - before) > _FAN_STEP * max(rpm, before, _FAN_LEAST_RPM)
        if stepped and self.seconds >= _FAN_EARLY_S:
            # The curve is a new one from here on; it needs no beginning from rest.
            self._spans, self._from_s, self._fan_stepped = {}, at_s, True
            self._fan, self._fan_from = (at_s, rpm), rpm
        elif at_s - looked_s >= _FAN_LOOK_S:
            self._fan = at_s, rpm

    def result(self) -> Warmed:
        """Fit what was seen so far. Costs some ms: ask every half minute at most."""
        why = self._why_not_yet()
        if why:
            return Warmed(seconds=self.seconds, why=why)
        spans = [self._spans[place] for place in sorted(self._spans)]
        fit = fit_two_mass(
            [span.mean for span in spans],
            within_squares=sum(span.squares for span in spans),
            within_freedom=sum(span.count - 1 for span in spans),
            least_noise_k=max(resolution(self._step_k or 0.0), 0.01),
        )
        if fit is None:
            return Warmed(seconds=self.seconds, why="Too few readings.")
        band = self._band(fit, spans[-1].mean.celsius)
        why = self._why_unknown(fit, band)
        return Warmed(
            steady_c=None if why else band,
            band_c=band,
            fast_s=fit.fast_s,
            slow_s=fit.slow_s,
            seconds=self.seconds,
            why=why,
        )

    def _why_not_yet(self) -> str:
        if self._throttled:
            return "The clock was taken back for heat: it holds the temperature, not the cooler."
        least, most = self._load_means
        if most - least > _LOAD_WANDERS:
            return f"The load went from {100 * least:.0f} to {100 * most:.0f} %: there is no end to tell."
        if self.seconds < _LEAST_S:
            return "Too early: it was watched for less than a minute."
        if self._last_s - self._from_s < _LEAST_S and self._fan_stepped:
            return "The fan has just changed its speed."
        return ""

    def _band(self, fit: TwoMass, now_c: float) -> Interval:
        """Return the fit's interval with the sensor's step and what a fan that follows may do to it."""
        steady = fit.steady_c
        step_k = COVERS_95 * resolution(self._step_k or 0.0)
        if fit.noise_k >= _DITHER * (self._step_k or 0.0):
            # Noise of a third of a step and more takes the rounding out of a mean (dither).
            step_k = 0.0
        low = steady.value - math.hypot(steady.value - steady.low, step_k)
        high = steady.value + math.hypot(steady.high - steady.value, step_k)
        if self._fan is not None and self._fan_from is not None:
            rpm = self._fan[1]
            change = abs(rpm - self._fan_from) / max(rpm, self._fan_from, _FAN_LEAST_RPM)
            bias_k = _FAN_BIAS * change * (steady.value - now_c)
            low, high = min(low, low - bias_k), max(high, high - bias_k)
        return Interval(value=(low + high) / 2, low=low, high=high)

    def _why_unknown(self, fit: TwoMass, band: Interval) -> str:
        if fit.noise_k > _MOST_NOISE_K:
            return f"It goes up and down by {fit.noise_k:.0f} K by itself: the load may change."
        narrow = (band.high - band.low) / 2 <= KNOWN_WITHIN_K
        plausible = _PLAUSIBLE_C[0] <= band.low and band.high <= _PLAUSIBLE_C[1]
        if narrow and plausible and not fit.open_ended:
            return ""
        if self._fan_stepped:
            return "The fan changed its speed; since then it is too early."
        return "It still moves by itself: too early to tell where it ends."


class _Span:
    """Readings close in time: count, means, squares about the mean (Welford, Technometrics 4 (1962) 419)."""

    __slots__ = ("_at_s", "_celsius", "count", "squares")

    def __init__(self) -> None:
        self.count = 0
        self.squares = self._at_s = self._celsius = 0.0

    def see(self, at_s: float, celsius: float) -> None:
        self.count += 1
        self._at_s += (at_s - self._at_s) / self.count
        off = celsius - self._celsius
        self._celsius += off / self.count
        self.squares += off * (celsius - self._celsius)

    @property
    def mean(self) -> Mean:
        return Mean(at_s=self._at_s, celsius=self._celsius, count=float(self.count))


class HeatCourse:
    """At rest, under full load, recovered: finds the step of the load itself.

    loaded, recovering: of the longest full load so far, and after it; None before. idle_c: mean temperature
    of the last half minute before that load, in °C; None where it began with the first reading.
    """

    def __init__(self) -> None:
        self.loaded: Warming | None = None
        self.recovering: Warming | None = None
        self.idle_c: float | None = None
        self._resting_c: float | None = None
        self._rest_s = self._unseen_s = 0.0
        self._current: Warming | None = None
        self._current_idle_c: float | None = None
        self._before_s: float | None = None

    def see(
        self,
        at_s: float,
        celsius: float | None,
        load: float | None,
        *,
        rpm: float | None = None,
        throttled: bool = False,
    ) -> None:
        """Take in a look. load: 0 to 1 since the look before; what is unknown is None."""
        step_s = 0.0 if self._before_s is None else at_s - self._before_s
        if step_s < 0:
            return
        self._before_s = at_s
        if load is not None and load >= FULL_FROM:
            self._see_loaded(at_s, celsius, load, rpm=rpm, throttled=throttled)
            return
        self._unseen_s += step_s
        if self._current is not None and self._unseen_s < LOST_S:
            return
        if self._current is not None:
            self._current = None
            self._resting_c, self._rest_s = None, 0.0
            if self.recovering is not None:
                self.recovering = Warming()
        if celsius is None or load is None:
            return
        if self.recovering is not None:
            self.recovering.see(at_s, celsius, rpm=rpm)
        self._rest_s = min(self._rest_s + max(step_s, 1.0), _IDLE_S)
        share = min(1.0, max(step_s, 1.0) / self._rest_s)
        self._resting_c = (
            celsius if self._resting_c is None else self._resting_c + share * (celsius - self._resting_c)
        )

    def _see_loaded(
        self, at_s: float, celsius: float | None, load: float, *, rpm: float | None, throttled: bool
    ) -> None:
        self._unseen_s = 0.0
        if self._current is None:
            self._current, self._current_idle_c = Warming(), self._resting_c
        if celsius is None:
            return
        self._current.see(at_s, celsius, rpm=rpm, throttled=throttled, load=load)
        if self.loaded is None or self._current.seconds > self.loaded.seconds:
            self.loaded, self.idle_c = self._current, self._current_idle_c
            self.recovering = Warming()


def warming_of(
    times_s: Iterable[float], celsius: Iterable[float | None], loads: Iterable[float | None]
) -> HeatCourse:
    """Take in a recorded course, sample by sample, and return it; nothing is kept but its means.

    celsius: of the processor; loads: 0 to 1; None where the log is empty. Times that run back are left out.
    """
    course = HeatCourse()
    for at_s, degrees, load in zip(times_s, celsius, loads, strict=True):
        course.see(at_s, degrees, load)
    return course
