"""Any byte changed, removed, doubled or moved is noticed, and only our errors say so."""

import random

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


def _sample() -> list[int]:
    # Every byte of the signature lines would take long; a fixed sample of them, and of the page.
    chance = random.Random(8032)
    return sorted(
        {*chance.sample(range(_SIGNATURES), 120), *chance.sample(range(_SIGNATURES, len(_WHOLE)), 250)}
        | {_SIGNATURES, len(_WHOLE) - 1, 0}
    )


@pytest.mark.parametrize(
    "tamper",
    [
        lambda at: _WHOLE[:at] + bytes([_WHOLE[at] ^ 1]) + _WHOLE[at + 1 :],
        lambda at: _WHOLE[:at] + bytes([_WHOLE[at] ^ 0x80]) + _WHOLE[at + 1 :],
        lambda at: _WHOLE[:at] + _WHOLE[at + 1 :],
        lambda at: _WHOLE[:at] + _WHOLE[at : at + 1] + _WHOLE[at:],
        lambda at: _WHOLE[:at] + b"\n" + _WHOLE[at:],
    ],
    ids=["lowest bit", "highest bit", "removed", "doubled", "line feed put in"],
)
def test_each_sampled_byte_counts(tamper: object) -> None:
    assert callable(tamper)
    missed = [at for at in _sample() if not _refused(tamper(at))]
    assert missed == []


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
