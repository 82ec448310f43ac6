"""A processor under full load over time: its fit, where that ends, the limit, the fans, the time before."""

from verify.measure.rounding import COVERAGE
from verify.record.model import Result
from verify.report.heat_fit import HeatFit, fitted_course, full_load_s
from verify.report.numbers import about, given, lasting, written
from verify.report.plots.envelope import MOST
from verify.report.plots.lines import Band, Line, Panel
from verify.report.plots.rows import Column
from verify.report.plots.told import MOST_LINES, Told, Watched, known
from verify.report.plots.warmth import warmth_compared
from verify.report.words import COURSES
from verify.values import Unit

__all__ = ["heat_told"]


def heat_told(watched: Watched) -> Told:
    """Tell a run of full load."""
    courses = watched.courses
    celsius = known(courses.processor_c)
    says: list[str] = []
    limit, fit = None, None
    if celsius:
        says.append(
            COURSES["warmed"].format(
                first=about(celsius[0]), most=about(max(celsius)), time=lasting(courses.times_s[-1])
            )
        )
        limit, said = _limit(courses.critical_c, watched.result)
        says += said
        # Where lines break, times are not those of the load.
        whole = courses.restarts == 0 and courses.unread == 0
        load = full_load_s(courses.times_s, courses.load) if whole else None
        fit = fitted_course(watched.attempt.readings, courses.times_s, courses.processor_c, load)
        says += _fit_says(fit)
    fans = {name: found for name, values in courses.fans_rpm.items() if (found := known(values))}
    for name, speeds in fans.items():
        says.append(COURSES["turned"].format(name=name, low=f"{min(speeds):.0f}", high=f"{max(speeds):.0f}"))
    drawn = {name: courses.fans_rpm[name] for name in list(fans)[:MOST_LINES]}
    if len(fans) > len(drawn):
        says.append(COURSES["more"].format(count=len(fans) - len(drawn)))
    warm: tuple[Line, ...] = ()
    columns: list[Column] = []
    if celsius:
        warm = (Line(name=COURSES["read"], values=courses.processor_c),)
        columns.append(Column(name=COURSES["processor"], values=courses.processor_c, decimals=0))
    if fit is not None and fit.course:
        warm = (*warm, Line(name=COURSES["fit"], values=fit.course, reckoned=True))
        columns.append(
            Column(
                name=COURSES["of_one"].format(what=COURSES["processor"], name=COURSES["fit"]),
                values=fit.course,
                decimals=1,
            )
        )
    columns += [
        Column(name=COURSES["of_one"].format(what=COURSES["fans"], name=name), values=values, decimals=0)
        for name, values in drawn.items()
    ]
    return Told(
        title=COURSES["heat"],
        panels=(
            Panel(name=COURSES["processor"], lines=warm, limit=limit, band=_band(fit)),
            Panel(
                name=COURSES["fans"],
                lines=tuple(Line(name=name, values=values) for name, values in drawn.items()),
                low=0.0,
            ),
        ),
        says=tuple(says),
        columns=tuple(columns),
        compared=warmth_compared(watched),
    )


def _limit(critical_c: float | None, result: Result) -> tuple[tuple[float, str] | None, list[str]]:
    """Return the line of the limit and what to say of it; the limit is a margin to the critical one, in K."""
    if critical_c is None or not abs(critical_c) <= MOST:
        return None, []
    lower = result.limit.lower if result.limit is not None else None
    if lower is None or lower.unit is not Unit.KELVIN:
        words = COURSES["critical"].format(value=given(critical_c), unit="°C")
        return (critical_c, words), [COURSES["critical_is"].format(value=given(critical_c))]
    most_c = critical_c - lower.value
    words = COURSES["limit"].format(value=given(most_c), unit="°C")
    said = COURSES["limit_is"].format(value=given(most_c), margin=given(lower.value))
    return (most_c, words), [said]


def _band(fit: HeatFit | None) -> Band | None:
    """Return where full load ends, with its 95 % interval, as a band across."""
    if fit is None or fit.steady.value is None or not abs(fit.steady.value) <= MOST:
        return None
    half = COVERAGE * (fit.steady.standard_uncertainty or 0.0)
    if not half <= MOST:
        return None
    words = COURSES["ends_at"].format(value=written(fit.steady))
    return Band(low=fit.steady.value - half, high=fit.steady.value + half, words=words)


def _fit_says(fit: HeatFit | None) -> list[str]:
    if fit is None:
        return []
    if fit.steady.value is None:
        return [COURSES["end_unknown"].format(why=fit.steady.reason or "")]
    said = [COURSES["end_is"].format(value=written(fit.steady))]
    if fit.fast is not None and fit.slow is not None and None not in (fit.fast.value, fit.slow.value):
        said.append(COURSES["taus"].format(fast=written(fit.fast), slow=written(fit.slow)))
    said.append(COURSES["fit_drawn" if fit.course else "fit_undrawn"])
    return said
