"""What the measurement reaches over thousands of simulated packs and machines: one table.

usage: python tests/benchmarks/study_measuring.py [PACKS]

PACKS: drawn for each line (for coverage at least 2,000), 10,000 where none is given (about a quarter of an
hour on two cores). Each share stands with its count and the upper (or lower) 95 % bound after Clopper and
Pearson, Biometrika 26 (1934) 404.
Nothing is measured in time here. The physics, and with them the truth, are those of the simulated machine.
"""

import math
import random
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import msgspec
from scipy.stats import beta
from study_packs import LOOK_S, RANGE, Measurement, draw, measure

from verify.machine.simulated.gauge import Lie
from verify.machine.simulated.pack import SimulatedPack
from verify.measure.assumed import ASSUMED
from verify.measure.capacity import EndHow, EndLevel, StartHow, StartLevel, capacity_ah
from verify.measure.charge_count import ChargeCount
from verify.measure.interval import Interval
from verify.measure.pack_measurement import Gauge
from verify.measure.point import Point
from verify.measure.resistance import StepResistance
from verify.measure.warming import Warming

LYING = (Lie.BOASTS, Lie.LEAPS, Lie.SINCE_FULL)
_LEAST_PACKS = 2000  # a share of 95 % is then known to ± 1 %: fewer cannot tell 94 to 96 % from the rest
LIMIT, TOO_LITTLE, ENOUGH = 0.90, 0.80, 0.98


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the table. good: whether what was wanted was reached; None where nothing is promised."""

    what: str
    found: str
    bound: str
    wanted: str
    good: bool | None


def share(what: str, hits: int, of: int, *, least: float = 0.0, most: float = 1.0) -> Line:
    """Make a line of a share that is to lie within bounds; both of its own bounds are given."""
    if of == 0:
        return Line(what=what, found="0 of 0", bound="", wanted="", good=False)
    low = 0.0 if hits == 0 else float(beta.ppf(0.05, hits, of - hits + 1))
    high = 1.0 if hits == of else float(beta.ppf(0.95, hits + 1, of - hits))
    wanted = f"{100 * least:g} to {100 * most:g} %" if least and most < 1 else ""
    if not wanted:
        wanted = f"at least {100 * least:g} %" if least else f"at most {100 * most:g} %" if most < 1 else "-"
    good = None if wanted == "-" else least <= hits / of <= most
    return Line(
        what=what,
        found=f"{100 * hits / of:.2f} % ({hits} of {of})",
        bound=f"{100 * low:.2f} to {100 * high:.2f} %",
        wanted=wanted,
        good=good,
    )


def _each(work: Callable[[int], Measurement], numbers: Iterable[int]) -> Iterator[Measurement]:
    with ProcessPoolExecutor() as pool:
        yield from pool.map(work, numbers, chunksize=25)


def _holds(interval: Interval | None, truth: float) -> bool:
    return interval is not None and interval.low <= truth <= interval.high


def _believed(errors: float, number: int) -> Measurement:
    drawn = draw(number, health=(0.6, 1.05), level=(0.05, 0.5), errors=errors)
    return measure(drawn, believed=True)


def coverage(packs: int) -> Iterator[Line]:
    """Return how often the interval holds the truth, with errors as assumed and twice that."""
    for errors, least, most in ((1.0, 0.94, 0.96), (2.0, 0.0, 1.0)):
        drawn = max(packs, _LEAST_PACKS) if errors == 1 else packs
        ah = wh = of = noticed = 0
        for one in _each(partial(_believed, errors), range(drawn)):
            told = one.measured
            of += 1
            ah += _holds(told.capacity_ah, one.drawn.ah)
            wh += _holds(told.capacity_wh, one.drawn.wh)
            noticed += bool(told.findings)
        times = "as assumed" if errors == 1 else f"{errors:g} times the assumed"
        yield share(f"capacity in Ah within its interval, errors {times}", ah, of, least=least, most=most)
        # The energy at rest has the spread of the published curves in it, of which the simulated cell is one.
        wh_least = least if errors == 1 else 0.0
        yield share(f"capacity in Wh at rest within its interval, errors {times}", wh, of, least=wh_least)
        yield share(f"something about the gauge remarked, errors {times}", noticed, of)


def half_widths() -> Iterator[Line]:
    """Return half-widths over parts of the range, beside the propagation of the same errors."""
    for covered in (0.6, 0.3):
        for level in (0.005, 0.01, 0.02):
            assumed = msgspec.structs.replace(ASSUMED, level=level)
            count = ChargeCount()
            for second in range(0, 3601, 20):
                count.see(
                    Point(at_s=float(second), current_a=5.0 * covered + 1e-6 * (second % 40), voltage_v=11.4)
                )
            counted = count.result()
            assert counted is not None
            found = capacity_ah(
                counted,
                start=StartLevel(level=0.3, half_width=level, how=StartHow.BELIEVED),
                end=EndLevel(level=0.3 + covered, half_width=level, how=EndHow.GAUGE),
                assumed=assumed,
            )
            assert found is not None
            half = (found.high - found.low) / 2 / found.value
            plain = 1.96 * math.sqrt(
                (assumed.gain**2 + 2 * (level / covered) ** 2 + (assumed.offset_a / (5.0 * covered)) ** 2) / 3
            )
            yield Line(
                what=f"half-width over {100 * covered:.0f} % of the range, level ± {100 * level:g} points",
                found=f"± {100 * half:.2f} %",
                bound=f"propagated: ± {100 * plain:.2f} %",
                wanted="within a tenth of it",
                good=abs(half / plain - 1) <= 0.1,
            )


def _lying(number: int, *, proven: bool) -> Measurement:
    drawn = draw(number, health=(0.6, 1.0), level=(0.1, 0.6), boast=(1.15, 1.6), lies=LYING)
    return measure(drawn, drained=proven, rested=proven)


def _honest(number: int, *, proven: bool) -> Measurement:
    return measure(draw(number, health=(0.6, 1.05), level=(0.1, 0.6)), drained=proven, rested=proven)


def gauges(packs: int) -> Iterator[Line]:
    """Return how gauges that boast are found out, and how often true ones are called so."""
    for proven in (True, False):
        how = "start proven" if proven else "start not proven"
        found = dict.fromkeys(Gauge, 0)
        for one in _each(partial(_lying, proven=proven), range(100_000, 100_000 + packs)):
            found[one.measured.verdict] += 1
        caught = found[Gauge.BOASTFUL]
        yield share(
            f"boast by 15 to 60 %, caught or undecided, {how}",
            packs - found[Gauge.TRUTHFUL],
            packs,
            least=0.99,
        )
        yield share(f"the same, caught, {how}", caught, packs, least=0.90 if proven else 0.0)
        found = dict.fromkeys(Gauge, 0)
        for one in _each(partial(_honest, proven=proven), range(200_000, 200_000 + packs)):
            found[one.measured.verdict] += 1
        yield share(f"true gauge called boastful, {how}", found[Gauge.BOASTFUL], packs, most=0.01)
        yield share(f"true gauge called truthful, {how}", found[Gauge.TRUTHFUL], packs)


def _new(number: int) -> Measurement:
    drawn = draw(number, health=(0.60, 1.06), level=(0.1, 0.5))
    return measure(drawn, drained=True, rested=True, limit_wh=LIMIT * drawn.design.design_wh)


def new_packs(packs: int) -> Iterator[Line]:
    """Return how packs are judged against 90 % of their label, by what they truly hold."""
    poor = [0, 0]
    good = [0, 0, 0]
    between = [0, 0]
    early: list[float] = []
    for one in _each(_new, range(300_000, 300_000 + packs)):
        true = one.drawn.wh / one.drawn.design.design_wh
        if true < TOO_LITTLE:
            poor[0] += one.released is True
            poor[1] += 1
        elif true > ENOUGH:
            good[0] += one.released is False
            good[1] += one.released is None
            good[2] += 1
        else:
            between[0] += one.released is None and bool(one.next_test)
            between[1] += one.released is None
        if one.decided_s is not None:
            early.append(one.decided_s / one.charged_s)
    yield share("holds below 80 % of its label, released", poor[0], poor[1], most=0.0)
    yield share("holds above 98 %, found not to hold 90 %", good[0], good[2], most=0.03)
    yield share("holds above 98 %, cannot be told", good[1], good[2])
    yield share("cannot be told, and the next test is named", between[0], between[1], least=1.0)
    early.sort()
    yield Line(
        what="decided before the end of the charge",
        found=f"{100 * len(early) / packs:.0f} %",
        bound=f"median after {100 * early[len(early) // 2]:.0f} % of its time" if early else "",
        wanted="-",
        good=None,
    )


def _warmed(number: int) -> tuple[float, float] | None:
    """Return by how much the steady temperature told at 40 % of its time is off; None while undecided."""
    source = random.Random(number)
    chip_s, sink_s = source.uniform(5, 25), source.uniform(100, 400)
    chip_k, sink_k = source.uniform(8, 30), source.uniform(12, 40)
    noise_k = source.uniform(0.2, 0.6)
    begin_c = source.uniform(30, 45)
    # Settled: within 1 K of the end.
    settles_s = sink_s * math.log(sink_k)
    # Two masses in a row: the chip on a sink that it warms.
    warming, chip, sink = Warming(), 0.0, 0.0
    at_s = 0.0
    while at_s <= 0.4 * settles_s:
        warming.see(at_s, float(round(begin_c + chip + sink + source.gauss(0, noise_k))))
        sink += (sink_k - sink) / sink_s
        chip += (chip_k - chip) / chip_s
        at_s += 1.0
    told = warming.result().steady_c
    return None if told is None else (told.value - (begin_c + chip_k + sink_k), settles_s)


def heat(machines: int) -> Iterator[Line]:
    """Return how well the steady temperature is known at 40 % of the time that it takes."""
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(_warmed, range(machines), chunksize=10))
    known = [one for one in found if one is not None]
    yield share("steady temperature known at 40 % of its settling time", len(known), machines, least=0.80)
    near = sum(abs(off) <= 2 for off, _ in known)
    yield share("of those, within 2 K of the truth", near, len(known), least=0.95)


def _resisted(number: int) -> float | None:
    """Return the resistance of a load's steps, told over true; None where none was told."""
    drawn = draw(number, health=(0.7, 1.0), level=(0.4, 0.8))
    gauge = msgspec.structs.replace(drawn.gauge, update_s=1.0)
    pack = SimulatedPack(drawn.design, cells=drawn.cells, gauge=gauge, level=drawn.level, ambient_c=22.0)
    steps = StepResistance(capacity_ah=drawn.design.design_ah, cells=drawn.design.cells)
    at_s = 0.0
    for load_w, seconds in ((6.0, 60), (35.0, 60), (6.0, 30), (35.0, 30)):
        for _ in range(seconds):
            pack.advance(1.0, offered_w=None, load_w=load_w, ambient_c=22.0)
            at_s += 1.0
            told = pack.gauge
            steps.see(
                Point(
                    at_s=at_s,
                    current_a=told.current_a,
                    voltage_v=told.voltage_v,
                    level=told.told_level,
                    powered=False,
                )
            )
    found = steps.result()
    if found.cell_mohm is None or found.time_scale_s is None:
        return None
    return found.cell_mohm.value / (1e3 * drawn.cells.ohm_after(found.time_scale_s))


def resistance(packs: int) -> Iterator[Line]:
    """Return how well a load's steps tell the resistance of a cell."""
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(_resisted, range(400_000, 400_000 + packs), chunksize=25))
    told = [one for one in found if one is not None]
    yield share("resistance told from a load's steps", len(told), packs)
    near = sum(abs(one - 1) <= 0.10 for one in told)
    yield share("of those, within 10 % of the truth at its time scale", near, len(told), least=0.95)


def main(arguments: Sequence[str]) -> int:
    """Print the table; 1 where something that was wanted is not reached."""
    packs = int(arguments[0]) if arguments else 10_000
    print(f"Assumed, half-widths: {', '.join(f'{name} {value:g}' for name, value in _assumed())}.")
    print(f"A look every {LOOK_S:g} s; the simulated cell's own range is {RANGE:.4f} of the measured one.\n")
    print("| what | found | 95 % bounds | wanted | |")
    print("| --- | --- | --- | --- | --- |")
    parts = (coverage(packs), half_widths(), gauges(packs), new_packs(packs), heat(packs), resistance(packs))
    missed = 0
    for part in parts:
        for line in part:
            sign = "" if line.good is None else "reached" if line.good else "NOT reached"
            missed += line.good is False
            print(f"| {line.what} | {line.found} | {line.bound} | {line.wanted} | {sign} |", flush=True)
    return 1 if missed else 0


def _assumed() -> Iterator[tuple[str, float]]:
    for name in ASSUMED.__struct_fields__:
        yield name, getattr(ASSUMED, name)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
