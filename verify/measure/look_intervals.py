"""The usual time between looks, and which is so much longer that nobody saw what happened within."""

import math

from verify.measure.counting import LONGEST_GAP_S

__all__ = ["LookIntervals"]

_USUAL_AT_MOST_S = 150.0
_GAP_TIMES = 2.5


class LookIntervals:
    """The usual time between looks, in buckets by length; longer ones than it by far are gaps."""

    def __init__(self) -> None:
        self._seconds = [0.0] * 40

    def is_gap(self, passed_s: float) -> bool:
        """Tell whether nobody saw what happened within; take the interval in."""
        gap = passed_s > LONGEST_GAP_S and passed_s > _GAP_TIMES * self._usual_s(passed_s)
        if passed_s <= _USUAL_AT_MOST_S:
            self._seconds[min(39, max(0, int(4 * math.log2(max(passed_s, 0.1)) + 10)))] += passed_s
        return gap

    def _usual_s(self, first_s: float) -> float:
        """Return the interval in which half of the watched time was spent, in s."""
        half, so_far = sum(self._seconds) / 2, 0.0
        if half == 0:
            return min(first_s, _USUAL_AT_MOST_S)
        for bucket, seconds in enumerate(self._seconds):
            so_far += seconds
            if so_far >= half:
                return 2 ** ((bucket - 9) / 4)
        return _USUAL_AT_MOST_S
