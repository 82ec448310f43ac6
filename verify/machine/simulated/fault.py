"""What a fault of a simulated machine is: its name, what it takes, and what it does."""

import msgspec

__all__ = ["Fault"]


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """One fault. parameter: an example with its unit, empty where it takes none. does: one sentence.

    words: what the parameter may be where it is a word. A number is above 0 unless it is a temperature; a
    level or share is at most `at_most`, 1 being 100 %.
    """

    name: str
    parameter: str
    does: str
    words: tuple[str, ...] = ()
    at_most: float = 1.0
