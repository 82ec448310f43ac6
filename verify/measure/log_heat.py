"""Where the temperature in a recorded log ends, and how fast it gets there."""

from verify.measure.interval import Interval
from verify.measure.log_points import LogLooks
from verify.measure.warming import FULL_FROM, Warmed, Warming, warming_of

__all__ = ["heat_of", "time_constant"]

_STEADY_LOAD = 0.10
_STEADY_FLOW = 0.20  # of the largest: the heat in a pack goes with the square of its current
_MOST_SPREAD = 5.0  # a time constant whose bounds are farther apart than so many times is not told


def heat_of(looks: LogLooks) -> tuple[str, Warmed]:
    """Return whose temperature it is, and where it ends: the processor's, else the pack's."""
    of, name = ("processor", "cpu_c") if "cpu_c" in looks.columns else ("pack", "temperature_c")
    if name not in looks.columns:
        return of, Warmed(why="The log has no temperature.")
    celsius, loads = looks.column(name), looks.column("load")
    known = [load for load in loads if load is not None]
    if of == "pack" and not _steady_flow(looks):
        return of, Warmed(why="The pack's current changed: its heat was not one and the same.")
    steady = not known or max(known) - min(known) < _STEADY_LOAD
    if steady and (not known or min(known) < FULL_FROM):
        # One load throughout, or none told: then all of it is one response.
        warming = Warming()
        for at_s, degrees in zip(looks.seconds(), celsius, strict=True):
            if degrees is not None:
                warming.see(at_s, degrees)
        return of, warming.result()
    course = warming_of(looks.seconds(), celsius, loads)
    if course.loaded is None:
        return of, Warmed(why=f"The load never was {100 * FULL_FROM:.0f} % or more.")
    return of, course.loaded.result()


def _steady_flow(looks: LogLooks) -> bool:
    """Tell whether the pack's own current, or power, was one and the same, or is not told."""
    told = looks.column("current_a" if "current_a" in looks.columns else "power_w")
    known = [abs(one) for one in told if one is not None]
    return not known or max(known) - min(known) <= _STEADY_FLOW * max(known)


def time_constant(course: Warmed) -> Interval | None:
    """Return the slower time constant, in s; None where the end or the constant itself is not known."""
    slow_s = course.slow_s
    if course.steady_c is None or slow_s is None or slow_s.high > _MOST_SPREAD * slow_s.low:
        return None
    return slow_s
