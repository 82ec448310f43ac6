"""A slope that bears outliers."""

from collections.abc import Sequence
from statistics import median

__all__ = ["theil_sen"]


def theil_sen(points: Sequence[tuple[float, float]]) -> float | None:
    """Return the median of the slopes between all pairs of points; None where no two differ in x.

    Source: P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379.
    """
    slopes = [
        (points[j][1] - points[i][1]) / (points[j][0] - points[i][0])
        for i in range(len(points))
        for j in range(i + 1, len(points))
        if points[j][0] != points[i][0]
    ]
    return median(slopes) if slopes else None
