"""The lid switch, as the firmware reports it: /proc/acpi/button/lid/NAME/state.

Many machines show none, and some firmware says "closed" for ever: what a lid does can only be told by
watching it change. Source: Linux drivers/acpi/button.c ("state:      open").
"""

from verify.machine.sysfs import Missing, Sysfs

__all__ = ["read_lid"]

_FOLDER = "acpi/button/lid"
_NO_PROC = "A given folder tells nothing of the lid."
_NO_SWITCH = "No lid switch is visible to the system."


def read_lid(proc: Sysfs | None) -> tuple[bool | None, str | None]:
    """Return whether the lid is open, or None and why that cannot be told.

    proc: where /proc is; None where the sysfs root is not this machine's own.
    """
    if proc is None:
        return None, _NO_PROC
    names = proc.names(_FOLDER)
    if isinstance(names, Missing) or not names:
        return None, _NO_SWITCH
    told: set[bool] = set()
    for name in names:
        text = proc.text(f"{_FOLDER}/{name}/state")
        if isinstance(text, Missing):
            return None, f"The lid switch cannot be read. {text.reason}"
        word = text.rpartition(":")[2].strip()
        if word not in ("open", "closed"):
            return None, f"The lid switch says “{word[:24]}”." if word else "The lid switch says nothing."
        told.add(word == "open")
    if len(told) > 1:
        return None, "Two lid switches contradict each other."
    return told.pop(), None
