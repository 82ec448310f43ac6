"""How the tests are shared out where several workers run them: `pytest -n auto`."""

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from xdist.remote import Producer
    from xdist.scheduler import LoadScopeScheduling

_RIGS = "tests/rig/"


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(
    config: pytest.Config, log: "Producer | None" = None
) -> "LoadScopeScheduling":
    """Keep all rigs on one worker, one after the other, and every other file in one piece.

    Rigs share what there is once: the kernel's package, all cores under load, terminals by name.
    """
    from xdist.scheduler import LoadScopeScheduling

    class Pieces(LoadScopeScheduling):  # type: ignore[misc] # it has no types
        def _split_scope(self, nodeid: str) -> str:
            return _RIGS if nodeid.startswith(_RIGS) else nodeid.partition("::")[0]

    # In the order of `pytest_collection_modifyitems`, not the most tests first.
    config.option.loadscopereorder = False
    return Pieces(config, log)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Put the rigs first for the workers: they take longest, and another worker does the rest meanwhile."""
    if hasattr(config, "workerinput"):
        items.sort(key=lambda item: not item.nodeid.startswith(_RIGS))
