"""Tones to judge the speakers by, chosen by single keys; which one plays is on the screen."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import assert_never

import msgspec

from verify.ask.keys import ENTER
from verify.ask.lines import ESCAPE, Entry, Prompt, Still
from verify.machine.player import Playing, SystemPlayer
from verify.machine.tones import Tone, lasts_s, tone_wav
from verify.values.errors import FileWriteError, HandbackError

_TONES: Mapping[str, tuple[Tone, ...]] = {
    "1": (Tone.LEFT,),
    "2": (Tone.RIGHT,),
    "3": (Tone.RISING,),
    ENTER: tuple(Tone),
}
_NAMES = {Tone.LEFT: "Left tone", Tone.RIGHT: "Right tone", Tone.RISING: "Rising tone, both sides,"}
_ABOUT = (
    "Pull headphones out. Set the volume to half.",
    "Each side must sound by itself. The rising one, 200 Hz to 4 kHz, is on both.",
    "",
)
INSTEAD = "Use the page (P), or play any recording that has a left and a right side."
LOOK_S = 0.1


class Tones:
    """Plays what is pressed. `look` goes on with it."""

    def __init__(
        self, player: SystemPlayer, folder: Path, *, still: Still, page: Callable[[], Prompt | None]
    ) -> None:
        """Ask which tone. folder: for the files, until `remove_tones`. page: makes the page."""
        self.entry = Entry(
            title="TONES",
            about=_ABOUT,
            prompt="Which tone?",
            keys="1 left   2 right   3 rising   Enter all three   P page   Esc back",
        )
        self.still = still
        self._player, self._folder, self._page = player, folder, page
        self._left: tuple[Tone, ...] = ()

    @property
    def empty(self) -> bool:
        """Always: nothing is typed."""
        return True

    def key(self, key: str) -> Prompt | None:
        """Take one key; return what comes next."""
        if key == ESCAPE:
            return None
        try:
            if key.lower() == "p":
                return self._page()
            if key in _TONES:
                self._left = _TONES[key]
                self._next()
        except HandbackError as error:
            self._say("Which tone?", error=str(error))
        return self

    def look(self) -> None:
        """Show how it stands; play the next one of those that were asked for."""
        match self._player.look():
            case Playing.PLAYS | Playing.NOTHING:
                pass
            case Playing.ENDED:
                self._player.stop()
                try:
                    self._next()
                except HandbackError as error:
                    self._say("Which tone?", error=str(error))
            case Playing.FAILED:
                self._failed()
            case other:
                assert_never(other)

    def _next(self) -> None:
        if not self._left:
            self._say("Played. Which tone?")
            return
        tone, *rest = self._left
        self._left = tuple(rest)
        if self._player.play(_written(self._folder, tone), lasts_s=lasts_s(tone)) is Playing.FAILED:
            self._failed()
        else:
            self._say(f"{_NAMES[tone]} now.")

    def _failed(self) -> None:
        why = self._player.why_not
        self._player.stop()
        self._left = ()
        self._say("Which tone?", error=f"{why} {INSTEAD}")

    def _say(self, prompt: str, *, error: str = "") -> None:
        self.entry = msgspec.structs.replace(self.entry, prompt=prompt, error=error)


def remove_tones(folder: Path) -> None:
    """Take the sound files away again, as far as they can be."""
    for tone in Tone:
        try:
            _path(folder, tone).unlink(missing_ok=True)
        except OSError:
            return  # a stick that was pulled out: they are no part of the run


def _path(folder: Path, tone: Tone) -> Path:
    return folder / f"tone-{tone}.wav"


def _written(folder: Path, tone: Tone) -> Path:
    path = _path(folder, tone)
    try:
        path.write_bytes(tone_wav(tone))
    except OSError as error:
        raise FileWriteError(
            f"The tone could not be written: {error.strerror or error}.",
            next_step="Free some space where the run lies, or use the page elsewhere.",
        ) from error
    return path
