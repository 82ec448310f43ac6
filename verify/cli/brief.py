"""A short command on a run: nothing is begun in the background, and no question is asked."""

from collections.abc import Iterator
from contextlib import contextmanager

from verify.run import Owner, RunFolder


@contextmanager
def brief_owner(folder: RunFolder) -> Iterator[Owner]:
    """Own the run for one command, then renew its report. Hold the folder's lock."""
    from verify.cli.session import renew_report
    from verify.machine import open_machine

    owner = Owner(folder, machine=open_machine(), scripted=False, brief=True)
    before = len(owner.lines)
    try:
        yield owner
    finally:
        owner.close()
    renew_report(folder, written=len(owner.lines) > before)
