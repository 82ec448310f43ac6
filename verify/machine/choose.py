"""Choose the back end that can read this machine."""

from pathlib import Path

from verify.machine.linux import SYSFS_ROOT, LinuxMachine, why_not_linux
from verify.machine.model import Machine
from verify.values import Clock, SystemClock
from verify.values.errors import MachineError, WrongUseError

__all__ = ["open_machine"]


def open_machine(*, sysfs: Path | None = None, clock: Clock | None = None) -> Machine:
    """Return the machine that can be read here: a given folder, this Linux, or what psutil tells.

    sysfs: a folder laid out like /sys. clock: stamps the samples; the computer's own where None.
    Raises WrongUseError where the given folder cannot be one; MachineError where nothing can read.
    """
    clock = SystemClock() if clock is None else clock
    if sysfs is not None:
        if not sysfs.is_dir():
            raise WrongUseError(
                f"There is no folder {sysfs}.", next_step="Give the folder that holds “class”."
            )
        why_not = why_not_linux(sysfs)
        if why_not is not None:
            raise WrongUseError(why_not, next_step="Give a folder laid out like /sys: it holds “class”.")
        return LinuxMachine(sysfs=sysfs, clock=clock)
    why_not = why_not_linux(SYSFS_ROOT)
    if why_not is None:
        return LinuxMachine(sysfs=SYSFS_ROOT, clock=clock)
    try:
        from verify.machine.psutil_only import PsutilMachine

        return PsutilMachine(clock)
    except ImportError as error:
        raise MachineError(
            f"Nothing here can read this machine. {why_not} psutil cannot be loaded: {error}.",
            next_step="Install Handback with its libraries again (pip install), then try once more.",
        ) from error
