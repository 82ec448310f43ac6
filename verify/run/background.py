"""What goes on by itself: a check that is fed with samples, and what it needs of the machine.

That is the load that it asks for, a machine kept awake meanwhile, and to know when nobody watched.
It writes no journal line: it says what came of it, and the owner writes.
"""

import msgspec

from verify.checklist import Check
from verify.machine import Awake, Inventory, Load, Machine, Sample
from verify.probe import Finding, Probe, Working
from verify.run.events import Missed
from verify.run.trace import Trace
from verify.values import Instant
from verify.values.errors import HandbackError

LONGEST_LOAD_S = 4 * 3600.0
"""No check loads a machine longer than this, whatever it asks for, in s [common practice, no source]."""

MISSED_FROM_S = 30.0
"""From here on time between two samples was not watched, in s [readings come every 10 s or sooner]."""

_ASLEEP_FROM_S = 2.0  # clocks are read one after the other; less is no sleep

_LID_CLOSED = "Open the lid: a closed lid can send the machine to sleep."


class Watch:
    """An automatic check under way: the stepper and its trace."""

    def __init__(self, check: Check, probe: Probe, trace_name: str, trace: Trace, *, since: Instant) -> None:
        self.check = check
        self.probe = probe
        self.trace_name = trace_name
        self.trace = trace
        self._since = since
        self.working = Working(text="Starting.")
        self.inventory: Inventory | None = None
        # Not None: it had ended, and the run was cut off before that was written down.
        self.finding: Finding | None = None
        for sample in trace.take_earlier():
            self.finding = self.step(sample)
            if self.finding is not None:
                break

    def began_after(self, at: Instant) -> bool:
        """Tell whether a sample was read before the check began: it says nothing about it."""
        return at.boot_id == self._since.boot_id and at.elapsed_s < self._since.elapsed_s

    def step(self, sample: Sample) -> Finding | None:
        """Feed one sample; return what was found when it has ended."""
        if sample.inventory is not None:
            self.inventory = sample.inventory
        # A fault in one check must not take the run with it: it is written down as not established.
        try:
            result = self.probe.step(sample)
        except Exception as error:  # noqa: BLE001 - the top of a background probe
            kind = type(error).__name__
            return Finding(readings=(), text=f"The check itself failed ({kind}: {error}). Report it.")
        if isinstance(result, Finding):
            return result
        self.working = result
        return None


class Background:
    """The one watch that runs, and what it needs of the machine."""

    def __init__(self, machine: Machine, *, salt: str) -> None:
        """salt: what an inventory's serials are hashed with."""
        self._machine, self._salt = machine, salt
        self.watch: Watch | None = None
        self._load: Load | None = None
        self._load_note = ""
        self._awake: Awake | None = None
        self._before: Sample | None = None

    @property
    def working(self) -> Working | None:
        """What the watch says, with what hinders it in front; None where nothing is watched."""
        if self.watch is None:
            return None
        working = self.watch.working
        before = self._before
        notes = [self._load_note] if self._load_note else []
        if before is not None and before.lid_open is False and working.want is None:
            notes.append(_LID_CLOSED)
        if not notes:
            return working
        return msgspec.structs.replace(working, text=" ".join((*notes, working.text)))

    @property
    def loads(self) -> bool:
        """Whether a load runs now."""
        return self._load is not None and self._load.running

    @property
    def often(self) -> bool:
        """Whether a sample a second is needed: a load hangs on it, or the check asks for it."""
        return self.loads or (self.watch is not None and self.watch.working.often)

    @property
    def awake_note(self) -> str:
        """What to set by hand so that the computer does not sleep; empty where it is kept awake."""
        return "" if self._awake is None or self._awake.held else self._awake.why_not

    def feed(self, sample: Sample) -> Finding | None:
        """Feed the watch; return what was found when it has ended. Follow its wish for load."""
        watch = self.watch
        if watch is None or watch.began_after(sample.at):
            return None
        if watch.working.inventory:
            # In this thread: it is short, and seldom asked for. The trace holds it with its sample.
            sample = msgspec.structs.replace(sample, inventory=self._machine.inventory(salt=self._salt))
        finding = watch.step(watch.trace.write(sample))
        if finding is not None or not watch.working.load:
            self.end_load()
        else:
            self._keep_load(sample)
        return finding

    def _keep_load(self, sample: Sample) -> None:
        if self._load is None:
            try:
                self._load = self._machine.start_load(longest_s=LONGEST_LOAD_S)
            except HandbackError as error:
                self._load_note = error.what
                return
        if not self._load.renew(sample):
            self._load_note = f"Load off: {self._load.why_ended}"

    def end_load(self) -> None:
        """End the load at once, where there is one."""
        if self._load is not None:
            self._load.stop()
        self._load, self._load_note = None, ""

    def missed(self, sample: Sample, *, check: str) -> Missed | None:
        """Return the time since the last sample where nobody watched or the machine slept, else None."""
        before, self._before = self._before, sample
        if before is None or before.at.boot_id != sample.at.boot_id:
            return None
        seconds = sample.at.elapsed_s - before.at.elapsed_s
        asleep_s = None
        if before.at.awake_s is not None and sample.at.awake_s is not None:
            asleep_s = max(0.0, seconds - (sample.at.awake_s - before.at.awake_s))
        slept = asleep_s is not None and asleep_s >= _ASLEEP_FROM_S
        if seconds < MISSED_FROM_S and not slept:
            return None
        return Missed(
            check=check,
            seconds=round(seconds, 1),
            asleep_s=None if asleep_s is None else round(asleep_s, 1),
            lid_closed=None if before.lid_open is None else not before.lid_open,
        )

    def keep_awake(self, *, wanted: bool) -> None:
        """Keep the computer awake while something runs, and let it sleep afterwards."""
        if wanted and self._awake is None:
            self._awake = self._machine.keep_awake("a check of this machine runs")
        elif not wanted and self._awake is not None:
            self._awake.release()
            self._awake = None
        if not wanted:
            self._before = None

    def drop(self) -> None:
        """Let go of the watch; its trace can be gone on with later."""
        self.end_load()
        if self.watch is not None:
            self.watch.trace.close()
            self.watch = None

    def close(self) -> None:
        """Let go of everything."""
        self.drop()
        self.keep_awake(wanted=False)
