"""Automatic check: whether each fan answers the load: it turns, follows, and comes down again."""

from collections.abc import Mapping

from verify.probe.heat_after import OPTIONS, AfterHeat, Runs
from verify.probe.heat_told import AFTER, FAN_AFTER, FAN_LOADED, FAN_REST, STEADY, all_told, told
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import counted, not_found, refuse_others
from verify.values import Reading, Unit

__all__ = ["fan_answers"]

_SOURCE = "fans that do not answer the load"
_RECOVER_S = 300.0
_CAME_DOWN = 0.90
_COOL_C = 60.0  # a machine that stays so cool under load may rest its fans [common practice, no source]
_HEAR = "Hear it at each outlet, feel the air."


def fan_answers(options: Mapping[str, str], context: Context) -> Probe:
    """Count the fans that do not answer the load.

    Unit: pieces. One each for a fan that stands under full load, or that is not at least a tenth slower some
    minutes after it. Its speed alone is not judged. From what an earlier check of the heat saw that also
    watched the heat go ("from": which ones), else from a load of its own ("load", 60 s; "recover", 5 min). In
    doubt where a fan stands in a machine that stays below 60 °C, or turns on in one that has not cooled.
    Unknown where no speed is told: hear it, feel the air.
    Source: a tenth, five minutes, 60 °C: common practice, no source.
    Caution: a fan turns: keep fingers, hair and tools out. Under load keep all air openings free.
    """
    refuse_others("fan-answers", options, *OPTIONS)
    return AfterHeat(
        options,
        context,
        _found,
        enough=lambda run: bool(all_told(run, FAN_AFTER)) or told(run, AFTER) is not None,
        recover_s=_RECOVER_S,
    )


def _found(runs: Runs, why: str) -> Finding:
    if not runs:
        return not_found(Unit.COUNT, _SOURCE, f"{why or 'No load was seen.'} {_HEAR}")
    run = runs[-1]
    loaded, after = all_told(run, FAN_LOADED), all_told(run, FAN_AFTER)
    known = {name: fan.value for name, fan in loaded.items() if fan.value is not None and not fan.reason}
    if not known:
        told_why = next((fan.reason for fan in loaded.values() if fan.reason), "No fan speed is told.")
        return not_found(Unit.COUNT, _SOURCE, f"{told_why} {_HEAR}")
    if not after:
        return not_found(Unit.COUNT, _SOURCE, f"{why or 'Nobody saw the fans after the load.'} {_HEAR}")
    rest = all_told(run, FAN_REST)
    wrong, doubts, parts = 0, [], []
    for name, most_rpm in sorted(known.items()):
        one_after = after.get(name)
        after_rpm = None if one_after is None or one_after.reason else one_after.value
        said = f"{name}: {_rpm(rest.get(name))} at rest, {most_rpm:.0f} under load, {_rpm(one_after)} after."
        parts.append(said)
        if most_rpm == 0:
            wrong += 1
            parts.append("It stands.")
            if not any(known.values()) and _stayed_cool(run):
                doubts.append("A machine that stays cool may rest its fans.")
        elif after_rpm is None:
            doubts.append(f"How fast {name} turns after the load is not told. {_HEAR}")
        elif after_rpm > _CAME_DOWN * most_rpm:
            wrong += 1
            parts.append("It does not come down.")
            if _still_hot(run):
                doubts.append("The machine has not cooled yet: wait, then check again.")
    doubt = " ".join(dict.fromkeys(doubts)) or None
    if doubt:
        parts.append(doubt)
    return Finding(readings=(counted(wrong, _SOURCE, doubt),), text=" ".join(parts))


def _rpm(reading: Reading | None) -> str:
    return "not told" if reading is None or reading.value is None else f"{reading.value:.0f} rpm"


def _stayed_cool(run: tuple[Reading, ...]) -> bool:
    """Tell whether the warming is known to end low: then a fan need not start."""
    steady = told(run, STEADY)
    return steady is not None and steady.value is not None and steady.value < _COOL_C


def _still_hot(run: tuple[Reading, ...]) -> bool:
    after = told(run, AFTER)
    return after is not None and after.value is not None and after.value >= _COOL_C
