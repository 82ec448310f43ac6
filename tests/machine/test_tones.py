"""The tones against a general-purpose reference: scipy's own chirp, and the spectrum of what was written."""

import io
import wave

import numpy as np
import numpy.typing as npt
import pytest
from scipy.io import wavfile
from scipy.signal import chirp, spectrogram

from verify.machine.tones import (
    FADE_S,
    LEVEL,
    RISE_FROM_HZ,
    RISE_S,
    RISE_TO_HZ,
    SAMPLE_RATE_HZ,
    STEADY_HZ,
    Tone,
    lasts_s,
    tone_wav,
)

Samples = npt.NDArray[np.float64]
SIDE = {Tone.LEFT: 0, Tone.RIGHT: 1}


def channels(tone: Tone) -> tuple[Samples, Samples]:
    rate, data = wavfile.read(io.BytesIO(tone_wav(tone)))
    assert rate == SAMPLE_RATE_HZ
    assert data.dtype == np.int16
    assert data.shape == (round(lasts_s(tone) * rate), 2)
    return data[:, 0] / 32768, data[:, 1] / 32768


@pytest.mark.parametrize("tone", SIDE, ids=str)
def test_one_side_sounds_and_the_other_is_silent_to_the_last_bit(tone: Tone) -> None:
    both = channels(tone)
    sounds, silent = both[SIDE[tone]], both[1 - SIDE[tone]]
    assert not silent.any()
    spectrum = np.abs(np.fft.rfft(sounds * np.hanning(len(sounds))))
    assert np.argmax(spectrum) * SAMPLE_RATE_HZ / len(sounds) == pytest.approx(STEADY_HZ, abs=1)
    # Nothing else in it: what buzzes is the speaker.
    others = np.abs(np.fft.rfftfreq(len(sounds), 1 / SAMPLE_RATE_HZ) - STEADY_HZ) > 50
    assert spectrum[others].max() < spectrum.max() / 1000


@pytest.mark.parametrize("tone", Tone, ids=str)
def test_a_tone_is_gentle_never_clipped_and_begins_and_ends_softly(tone: Tone) -> None:
    for side in channels(tone):
        assert np.abs(side).max() <= LEVEL
        assert np.abs(side[:10]).max() < 0.001
        assert np.abs(side[-10:]).max() < 0.001
        # No step: nothing changes faster than the highest pitch at full level does.
        assert np.abs(np.diff(side)).max() <= LEVEL * 2 * np.pi * RISE_TO_HZ / SAMPLE_RATE_HZ * 1.01


def test_the_rising_tone_is_the_logarithmic_sweep_on_both_sides() -> None:
    left, right = channels(Tone.RISING)
    assert np.array_equal(left, right)
    at_s = np.arange(len(left)) / SAMPLE_RATE_HZ
    expected = chirp(at_s, RISE_FROM_HZ, RISE_S, RISE_TO_HZ, method="logarithmic", phi=-90)
    middle = slice(round(FADE_S * SAMPLE_RATE_HZ) + 1, -round(FADE_S * SAMPLE_RATE_HZ) - 1)
    assert np.abs(left[middle] - LEVEL * expected[middle]).max() < 0.0005


def test_the_pitch_only_rises_from_the_first_to_the_last_one() -> None:
    left, _ = channels(Tone.RISING)
    pitches_hz, _, power = spectrogram(left, SAMPLE_RATE_HZ, nperseg=8192, noverlap=0, nfft=65536)
    loudest_hz = pitches_hz[np.argmax(power, axis=0)]
    assert (np.diff(loudest_hz) > 0).all()
    assert loudest_hz[0] == pytest.approx(RISE_FROM_HZ, rel=0.1)
    assert loudest_hz[-1] == pytest.approx(RISE_TO_HZ, rel=0.1)


def test_it_is_a_file_of_two_channels_of_16_bits() -> None:
    with wave.open(io.BytesIO(tone_wav(Tone.LEFT))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getcomptype()) == (2, 2, "NONE")
