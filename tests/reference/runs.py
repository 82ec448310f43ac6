"""Which runs are made: a fraction of all combinations, each level of a condition as often as the others.

For each condition a deck holds its levels in equal numbers and is shuffled by a fixed seed; a run takes one
card of each. So no condition goes along with another but by chance.
"""

import random
from dataclasses import dataclass
from typing import TypeVar

from tests.reference.papers import PAPERS, Paper

__all__ = ["SEED", "Run", "all_runs"]

SEED = 20251

_T = TypeVar("_T")

_CHARGES, _DISCHARGES, _STEPS = 6, 1, 1  # of each paper's cell


@dataclass(frozen=True, kw_only=True)
class Run:
    """The conditions of one run.

    kind: charge, discharge or steps. start: how the start level could be known: gauge (nothing before),
    rested (20 minutes without current are recorded before) or drained (recorded until it ran to its end).
    start_level: 0 to 1, meant; the true one stands in the manifest. rate_c: of the paper's capacity.
    lost and health: what was lost (nothing, lithium, positive: active material there, both: of both
    electrodes), and the share left of it. added_ohm: to each cell in series. size_ah: of the new pack about,
    as parallel cells. shared: power from a charger that a changing load shares. tells_energy: the gauge
    counts in steps of 10 mWh, not of 1 %. gauge: truthful; boasts: a larger capacity, the level right; leaps:
    the level counted up against the false capacity; since-full: the level counted down against it since the
    last full. update_s: how often the gauge looks. poll_s: the middle of the times between two samples.
    """

    number: int
    paper: Paper
    kind: str
    start: str
    start_level: float
    rate_c: float
    ambient_c: float
    lost: str
    health: float
    added_ohm: float
    in_series: int
    size_ah: float
    shared: bool
    tells_energy: bool
    gauge: str
    update_s: float
    poll_s: float


def _deck(levels: tuple[_T, ...], count: int, dice: random.Random) -> list[_T]:
    """Return `count` cards, each level as often as the others, in a shuffled order."""
    cards = [*levels] * (count // len(levels))
    cards += dice.sample(levels, count - len(cards))
    dice.shuffle(cards)
    return cards


def all_runs() -> list[Run]:
    """Return every run, the same at every call."""
    dice = random.Random(SEED)
    kinds = ["charge"] * _CHARGES + ["discharge"] * _DISCHARGES + ["steps"] * _STEPS
    count = len(PAPERS) * len(kinds)
    starts = _deck(("gauge", "rested", "drained"), count, dice)
    levels = _deck((0.02, 0.05, 0.10, 0.20, 0.30, 0.45, 0.60), count, dice)
    rates = _deck((0.3, 0.5, 0.7, 1.0), count, dice)
    ambients = _deck((5.0, 15.0, 25.0, 35.0), count, dice)
    healths = _deck(
        (
            ("nothing", 1.0),
            ("lithium", 0.85),
            ("lithium", 0.70),
            ("positive", 0.85),
            ("both", 0.85),
            ("both", 0.70),
        ),
        count,
        dice,
    )
    added = _deck((0.0, 0.020, 0.060), count, dice)
    series = _deck((2, 3, 4), count, dice)
    sizes = _deck((3.0, 4.0, 5.0, 6.0), count, dice)
    shared = _deck((False, False, True), count, dice)
    energy = _deck((False, True), count, dice)
    gauges = _deck(("truthful",) * 6 + ("boasts", "leaps", "since-full"), count, dice)
    updates = _deck((1.0, 2.0, 4.0, 10.0), count, dice)
    polls = _deck((8.0, 15.0, 22.0), count, dice)
    return [
        Run(
            number=at + 1,
            paper=PAPERS[at // len(kinds)],
            kind=kinds[at % len(kinds)],
            start=starts[at],
            start_level=levels[at],
            rate_c=rates[at],
            ambient_c=ambients[at],
            lost=healths[at][0],
            health=healths[at][1],
            added_ohm=added[at],
            in_series=series[at],
            size_ah=sizes[at],
            shared=shared[at],
            tells_energy=energy[at],
            gauge=gauges[at],
            update_s=updates[at],
            poll_s=polls[at],
        )
        for at in range(count)
    ]
