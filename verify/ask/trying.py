"""What the tool shows while a look is asked: tones, colour fields, a key map, or a page with all three.

Nothing of it answers the check. It means something on the repaired machine only.
"""

import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import assert_never

import msgspec
from rich.console import Console

from verify.ask.answering import asks
from verify.ask.colours import ColourFields, colour_note
from verify.ask.key_map import key_name, map_lines
from verify.ask.keys import ENTER, Pasted
from verify.ask.legend import can_be_tried
from verify.ask.lines import ESCAPE, Choice, Entry, Prompt, Still
from verify.ask.tones import LOOK_S, Tones, remove_tones
from verify.checklist import Check, Shows
from verify.machine.player import SystemPlayer
from verify.report.try_page import COLOURS
from verify.run import Shown
from verify.values.errors import OrderError

PAGE_NAME = "try.html"

_APART_S = 0.1  # no finger presses one key twice as fast: a faulty key does [common practice]
_SIMULATED = {
    Shows.TONES: "Simulated: nothing is played.",
    Shows.COLOURS: "Simulated: no colour is shown.",
    Shows.KEYS: "Simulated: no key is counted.",
}
_BEFORE_COLOURS = (
    f"{', '.join(COLOURS)}: each fills the window.",
    "Make the window fill the whole screen first (often F11). Wipe the screen.",
    "Any letter or Space: the next one. Backspace: the one before. Esc: back.",
    "",
)
_BEFORE_KEYS = (
    "Press each key once. The map says how often each came: 1 is right.",
    "A terminal cannot see Shift, Ctrl, Alt, Fn, Caps Lock, light and sound keys,",
    "nor tell two keys apart that write the same. The page (P) sees most of them.",
    "The window keeps some keys to itself (often F1, F10, F11).",
    "Esc, then Esc once more, leaves the map.",
    "",
)


class Trying:
    """Opens what is to be tried, and ends what plays as soon as it is not shown any more."""

    def __init__(self, folder: Path, console: Console, *, player: SystemPlayer | None = None) -> None:
        """Be ready. folder: the run's; files made for it lie there. player: None: the system's."""
        self._folder, self._console = folder, console
        self._player = SystemPlayer() if player is None else player
        self._tones: Tones | None = None

    def begin(self, shown: Shown, check: Check) -> Prompt:
        """Return the screen for what the check's tool can show.

        Raises OrderError where there is nothing to show, or not on this computer.
        """
        if check.shows is None:
            raise OrderError("There is nothing that the tool could show for this.")
        if not can_be_tried(shown):
            raise OrderError(
                "Only the repaired machine itself can show this.",
                next_step="Open this folder there, or take the page there: handback try FILE.html",
            )
        still = asks(check)
        if shown.simulated or shown.scripted:
            return Choice(Entry(prompt=_SIMULATED[check.shows], keys="Esc back"), {}, still=still)
        match check.shows:
            case Shows.TONES:
                return self._play_tones(still)
            case Shows.COLOURS:
                return self._before("COLOURS", _BEFORE_COLOURS, still, lambda: self._colours(still))
            case Shows.KEYS:
                return self._before("KEY MAP", _BEFORE_KEYS, still, lambda: self._keys(still))
            case _:
                assert_never(check.shows)

    def attend(self, prompt: Prompt | None) -> float | None:
        """Go on with what plays, or end it; return after how many s to look again, None: at any time."""
        if self._tones is None:
            return None
        if prompt is not self._tones:
            self.close()
            return None
        self._tones.look()
        return LOOK_S

    def close(self) -> None:
        """End what plays, and take its files away."""
        if self._tones is not None:
            self._tones = None
            self._player.stop()
            remove_tones(self._folder)

    def _play_tones(self, still: Still) -> Prompt:
        self._tones = Tones(self._player, self._folder, still=still, page=lambda: self._page(still))
        return self._tones

    def _before(
        self, title: str, about: tuple[str, ...], still: Still, begin: Callable[[], Prompt]
    ) -> Prompt:
        entry = Entry(title=title, about=about, prompt="Ready?", keys="Enter begin   P page   Esc back")
        return Choice(entry, {ENTER: begin, "p": lambda: self._page(still)}, still=still)

    def _colours(self, still: Still) -> Prompt:
        note = colour_note(self._console)
        if not note:
            return ColourFields(still=still)
        return self._before("COLOURS", (note, ""), still, lambda: ColourFields(still=still))

    def _keys(self, still: Still) -> Prompt:
        if not self._console.is_terminal or self._console.is_dumb_terminal:
            raise OrderError("This terminal cannot show a map.", next_step="Use the page: press P.")
        return KeyMap(still=still)

    def _page(self, still: Still) -> Prompt:
        from verify.report.try_page import write_try_page

        path = (self._folder / PAGE_NAME).absolute()
        write_try_page(path)
        entry = Entry(
            title="THE PAGE",
            about=(
                "Tones, colours and a map of all keys, in a browser of this machine:",
                str(path),
                "",
                "It is only a help, and answers nothing. A browser may note it in its history.",
                "",
            ),
            prompt="Open it from here?",
            keys="O open it   Esc back",
        )

        def opened() -> Entry:
            from verify.machine.browser import open_page

            open_page(path)
            return msgspec.structs.replace(entry, prompt="It was handed to the browser.", error="")

        return Choice(entry, {"o": opened}, still=still)


class KeyMap:
    """Counts every key until Esc is pressed twice."""

    def __init__(self, *, still: Still, now: Callable[[], float] = time.monotonic) -> None:
        """Begin with an empty map. now: seconds that only grow."""
        self.still = still
        self._now = now
        self._came: Counter[str] = Counter()
        self._escaped_s: float | None = None
        self.entry = self._drawn()

    @property
    def empty(self) -> bool:
        """Never: "!" is a key of the map."""
        return False

    def key(self, key: str) -> Prompt | None:
        """Count the key."""
        if isinstance(key, Pasted):
            return self
        now_s = self._now()
        if key == ESCAPE and self._escaped_s is not None and now_s >= self._escaped_s + _APART_S:
            return None
        self._escaped_s = now_s if key == ESCAPE else None
        self._came[key_name(key)] += 1
        self.entry = self._drawn()
        return self

    def _drawn(self) -> Entry:
        return Entry(
            title="KEY MAP",
            about=map_lines(self._came),
            prompt="Press each key once.",
            keys="Esc Esc back   (Shift, Ctrl, Alt are not seen here: the page sees them)",
            every_key=True,
        )
