"""Tones to judge speakers by, as WAV files: left, right, and one that rises on both sides.

Level, pitches and lengths: common practice, no source. A tone begins and ends softly, so that a click is
the speaker's own.
"""

import io
import math
from enum import StrEnum

SAMPLE_RATE_HZ = 44_100
STEADY_HZ = 440.0
RISE_FROM_HZ, RISE_TO_HZ = 200.0, 4000.0
STEADY_S, RISE_S = 1.5, 6.0
FADE_S = 0.03
LEVEL = 0.2
"""Of full scale: 14 dB below it, gentle in a quiet room at half volume."""

_FULL = 32767


class Tone(StrEnum):
    """LEFT and RIGHT: a steady tone on one side, the other silent. RISING: on both sides."""

    LEFT = "left"
    RIGHT = "right"
    RISING = "rising"


def tone_wav(tone: Tone) -> bytes:
    """Return the tone as a WAV file: two channels, 16 bits, `SAMPLE_RATE_HZ`."""
    import sys
    import wave
    from array import array

    length_s = lasts_s(tone)
    count = round(length_s * SAMPLE_RATE_HZ)
    frames = array("h", bytes(4 * count))
    for index in range(count):
        at_s = index / SAMPLE_RATE_HZ
        value = round(_FULL * LEVEL * _fade(at_s, length_s) * math.sin(_phase(tone, at_s)))
        if tone is not Tone.RIGHT:
            frames[2 * index] = value
        if tone is not Tone.LEFT:
            frames[2 * index + 1] = value
    if sys.byteorder == "big":
        frames.byteswap()  # WAV is little-endian
    whole = io.BytesIO()
    with wave.open(whole, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(SAMPLE_RATE_HZ)
        file.writeframes(frames.tobytes())
    return whole.getvalue()


def lasts_s(tone: Tone) -> float:
    """Return how long the tone lasts, in s."""
    return RISE_S if tone is Tone.RISING else STEADY_S


def _phase(tone: Tone, at_s: float) -> float:
    """Return the phase at an instant, in rad; the rising pitch grows by the same factor in each second."""
    if tone is not Tone.RISING:
        return math.tau * STEADY_HZ * at_s
    growth = math.log(RISE_TO_HZ / RISE_FROM_HZ) / RISE_S
    return math.tau * RISE_FROM_HZ * math.expm1(growth * at_s) / growth


def _fade(at_s: float, length_s: float) -> float:
    edge_s = min(at_s, length_s - at_s)
    return 1.0 if edge_s >= FADE_S else 0.5 - 0.5 * math.cos(math.pi * edge_s / FADE_S)
