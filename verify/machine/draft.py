"""A pack's values and reasons while they are being worked out. No rule of judgement lives here."""

from verify.machine.supply import Supply
from verify.machine.sysfs import integer

__all__ = ["Draft"]

# What firmware writes for "unknown": all bits of a double word, and the same after the driver's × 1000.
# Source: Linux drivers/acpi/battery.c (ACPI_BATTERY_VALUE_UNKNOWN).
_UNKNOWN_NUMBERS = frozenset((0xFFFFFFFF, 0xFFFFFFFF * 1000, -1, -1000))


class Draft:
    """Collects what one supply tells: numbers in base units, reasons, which fields were converted."""

    def __init__(self, supply: Supply) -> None:
        self.name = supply.name
        self.values = supply.values
        self._faults = supply.faults
        self.reasons: dict[str, str] = {}
        self.estimated: set[str] = set()

    def why_not(self, attribute: str) -> str:
        """Say why `number` of this attribute is None."""
        text = self.values.get(attribute)
        if text is None:
            fault = self._faults.get(attribute)
            return f"{attribute}: {fault}" if fault else "The pack does not report it."
        if not text:
            return f"{attribute} is empty."
        value = integer(text)
        if value is None:
            return f"{attribute}: “{_shown(text)}” is not a number."
        return f"{attribute}: {value} stands for “not known”."

    def has(self, attribute: str) -> bool:
        """Tell whether the pack shows this attribute at all, readable or not."""
        return attribute in self.values or attribute in self._faults

    def number(self, attribute: str) -> int | None:
        """Return the attribute's whole number as it stands, None where it is none or means unknown."""
        text = self.values.get(attribute)
        if text is None:
            return None
        value = integer(text)
        return None if value in _UNKNOWN_NUMBERS else value

    def positive(self, attribute: str) -> float | None:
        """Return a value that was given in millionths, in its base unit, above 0; else None."""
        value = self.number(attribute)
        return value / 1e6 if value is not None and value > 0 else None

    def unknown(self, field: str, why: str) -> None:
        """Note why the field has no value."""
        self.estimated.discard(field)
        self.reasons[field] = why

    def doubt(self, field: str, why: str) -> None:
        """Note why the field's value is not to be relied on; a doubt outweighs a mere conversion."""
        self.estimated.discard(field)
        known = self.reasons.get(field)
        self.reasons[field] = why if known is None or known == why else f"{known} {why}"

    def estimate(self, field: str, how: str) -> None:
        """Note how the field's value was worked out from others."""
        if field not in self.reasons:
            self.estimated.add(field)
            self.reasons[field] = f"Estimate: {how}"

    def words(self, attribute: str) -> str | None:
        """Return the attribute's printable characters, stripped; None where nothing is left."""
        text = self.values.get(attribute)
        return (_shown(text) or None) if text else None


def _shown(text: str) -> str:
    # Firmware may hand out binary rubbish in place of a string; the kernel gives at most 64 bytes of it.
    if text.isascii() and text.isprintable():
        return text.strip()[:64]
    return "".join(sign for sign in text if sign.isprintable() and sign != "\ufffd").strip()[:64]
