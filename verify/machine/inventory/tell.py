"""The parts of a machine as one plain dictionary: what `handback probe --parts --json` prints.

No serial, and nothing that was made from one. None stays None; the reasons stand beside.
"""

import msgspec

from verify.machine.inventory.model import Inventory

__all__ = ["describe_parts"]

_CALLED = {"channels": "memory_channels", "cpus": "processors", "modules": "memory_modules"}


def describe_parts(inventory: Inventory) -> dict[str, object]:
    """Assemble what the machine has, in the order of the bench; sizes in bytes, levels in dBm."""
    return {
        "items": [
            {
                "kind": item.kind,
                "name": item.name or None,
                "identity": item.identity,
                "built_in": not item.volatile,
            }
            for item in inventory.items
        ],
        "panels": msgspec.to_builtins(inventory.panels),
        "radio_levels": [
            {"kind": level.kind, "dbm": level.dbm, "reason": level.reason} for level in inventory.radios
        ],
        "radio_switches": [{"type": block.type, "off": block.is_off} for block in inventory.blocks],
        "lines": msgspec.to_builtins(inventory.links),
        "memory_modules": msgspec.to_builtins(inventory.modules),
        "memory_bytes": inventory.memory_bytes,
        "memory_channels": inventory.channels,
        "processors": inventory.cpus,
        "clock_ahead_s": inventory.clock_ahead_s,
        "reasons": {_CALLED.get(name, name): why for name, why in inventory.reasons.items()},
    }
