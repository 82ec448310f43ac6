"""Any byte changed, removed, doubled or moved is noticed, and only our errors say so."""

import random
import re
import string
from collections.abc import Callable, Iterable

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.report.prove import prove
from verify.testing.sample_record import fit_record
from verify.testing.sample_signatures import known, sample_key, signed_by
from verify.values.errors import ProofError

_KEYS = (sample_key("technician"), sample_key("reviewer"))
_KNOWN = known(*_KEYS)
_SMALL = msgspec.structs.replace(fit_record(), results=(), steps=(), checklists=(), traces=())
_WHOLE = signed_by(_SMALL, *_KEYS)
_SIGNATURES = _WHOLE.index(b"<!--handback-signature ")


def _refused(data: bytes) -> bool:
    try:
        prove(data, trusted=_KNOWN)
    except ProofError:
        return True
    return False


def test_the_untouched_report_is_proven() -> None:
    assert not _refused(_WHOLE)


# Each way to touch a single byte. Every way has to be noticed at every byte, the line feeds included.
_TAMPERS: dict[str, Callable[[bytes, int], bytes]] = {
    "lowest bit": lambda data, at: _with(data, at, data[at] ^ 1),
    "capital or small": lambda data, at: _with(data, at, data[at] ^ 0x20),
    "highest bit": lambda data, at: _with(data, at, data[at] ^ 0x80),
    "next printable": lambda data, at: _with(data, at, 0x21 + (data[at] - 0x20) % 0x5E),
    "space or line feed": lambda data, at: _with(data, at, 0x0A if data[at] == 0x20 else 0x20),
    "zero byte": lambda data, at: _with(data, at, 0),
    "removed": lambda data, at: data[:at] + data[at + 1 :],
    "doubled": lambda data, at: data[: at + 1] + data[at:],
    "line feed put in": lambda data, at: data[:at] + b"\n" + data[at:],
    "space put in": lambda data, at: data[:at] + b" " + data[at:],
}


def _with(data: bytes, at: int, byte: int) -> bytes:
    return data[:at] + bytes([byte]) + data[at + 1 :]


def _missed(way: str, places: Iterable[int]) -> list[int]:
    tamper = _TAMPERS[way]
    missed = []
    for at in places:
        tampered = tamper(_WHOLE, at)
        assert tampered != _WHOLE
        if not _refused(tampered):
            missed.append(at)
    return missed


def _sample() -> list[int]:
    # A fixed sample of the page, a denser one of the signatures, and where their pieces meet.
    chance = random.Random(8032)
    joints = [at for at in range(_SIGNATURES, len(_WHOLE)) if _WHOLE[at] in b"<-. >\n!"]
    return sorted(
        {*chance.sample(range(_SIGNATURES), 60), *chance.sample(range(_SIGNATURES, len(_WHOLE)), 60)}
        | {near for at in joints for near in (at - 1, at, at + 1) if near < len(_WHOLE)}
        | {0, len(_WHOLE) - 1}
    )


@pytest.mark.parametrize("way", _TAMPERS)
def test_each_sampled_byte_counts(way: str) -> None:
    assert _missed(way, _sample()) == []


@pytest.mark.exhaustive
@pytest.mark.parametrize("way", _TAMPERS)
def test_every_single_byte_counts(way: str) -> None:
    assert _missed(way, range(len(_WHOLE))) == []


@pytest.mark.exhaustive
def test_every_other_character_of_every_signature_counts() -> None:
    letters = string.ascii_letters + string.digits + "-_.="
    for at in range(_SIGNATURES, len(_WHOLE)):
        for letter in letters.encode():
            assert letter == _WHOLE[at] or _refused(_with(_WHOLE, at, letter)), (at, letter)


def test_the_spare_bits_at_the_end_of_each_piece_count() -> None:
    # RFC 4648, 3.5: where a piece does not fill its last character, lax readers pass over the bits left.
    letters = (string.ascii_letters + string.digits + "-_").encode()
    ends = [match.start() for match in re.finditer(rb"[A-Za-z0-9_-](?=\.|-->)", _WHOLE[_SIGNATURES:])]
    assert len(ends) == 2 * 3
    for at in (_SIGNATURES + end for end in ends):
        assert [letter for letter in letters if not _refused(_with(_WHOLE, at, letter))] == [_WHOLE[at]]


@settings(max_examples=150, deadline=None)
@given(at=st.integers(0, len(_WHOLE) - 1), byte=st.integers(0, 255))
def test_any_other_byte_anywhere_is_refused(at: int, byte: int) -> None:
    if _WHOLE[at] != byte:
        assert _refused(_WHOLE[:at] + bytes([byte]) + _WHOLE[at + 1 :])


@settings(max_examples=60, deadline=None)
@given(start=st.integers(0, len(_WHOLE) - 1), end=st.integers(0, len(_WHOLE)), to=st.integers(0, len(_WHOLE)))
def test_a_stretch_moved_elsewhere_is_refused(start: int, end: int, to: int) -> None:
    stretch = _WHOLE[start:end]
    rest = _WHOLE[:start] + _WHOLE[max(start, end) :]
    moved = rest[:to] + stretch + rest[to:]
    if moved != _WHOLE:
        whole_without_last = _WHOLE[: _WHOLE.rindex(b"<!--handback-signature ")]
        assert _refused(moved) or moved == whole_without_last


@settings(max_examples=60, deadline=None)
@given(cut=st.integers(0, len(_WHOLE) - 1))
def test_a_report_cut_off_anywhere_is_refused_or_incomplete(cut: int) -> None:
    data = _WHOLE[:cut]
    if not _refused(data):
        assert not prove(data, trusted=_KNOWN).complete


@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=300))
def test_any_bytes_at_all_raise_only_our_errors(data: bytes) -> None:
    assert _refused(data)
    assert _refused(_WHOLE[:_SIGNATURES] + b"<!--handback-signature " + data + b"-->\n")
