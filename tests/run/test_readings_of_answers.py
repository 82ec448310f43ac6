"""What was counted reads as a figure with all that it was made of."""

import pytest

from verify.checklist.answers import Counted, Tally
from verify.run.findings import readings_of


@pytest.mark.parametrize(
    ("tally", "missing", "account"),
    [
        (Tally(out=10, new=1, back=9), 2, "10 out, 1 new, 9 back"),
        (Tally(out=10, back=8, returned=1, scrapped=1), 0, "10 out, 0 new, 8 back, 1 returned, 1 scrapped"),
        (Tally(out=6, back=7), -1, "6 out, 0 new, 7 back"),
    ],
    ids=["missing", "returned and scrapped", "left over"],
)
def test_a_count_says_of_what_and_from_which_figures(tally: Tally, missing: int, account: str) -> None:
    (reading,) = readings_of(Counted(tallies={"base screws": tally}))
    assert (reading.value, reading.source) == (missing, f"base screws missing: {account}")
