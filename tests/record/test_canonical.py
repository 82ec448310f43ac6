"""Canonical JSON against the published vectors of RFC 8785, and what is refused."""

import json
import struct

import msgspec
import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.record import canonical as module
from verify.record.canonical import canonical, record_bytes, record_from, require_canonical, sha256_hex
from verify.testing.sample_record import fit_record, held_record
from verify.values.errors import FileFormatError, InvalidValueError, UnknownFormatError


def test_the_sample_of_rfc_8785_section_3_2_comes_out_as_published() -> None:
    # RFC 8785 3.2.2 and 3.2.3 (sample object and its canonical form)
    given = json.loads(
        '{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
        '"string":"\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/","literals":[null,true,false]}'
    )
    data = canonical(given)
    assert data.decode() == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert sha256_hex(data) == "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"


@pytest.mark.parametrize(
    ("bits", "text"),
    [
        # RFC 8785 appendix B
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
    ],
)
def test_numbers_of_rfc_8785_appendix_b(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number).decode() == text
    require_canonical(text.encode(), "A number")


def test_members_are_sorted_by_utf_16_units_not_by_code_points() -> None:
    # RFC 8785 3.2.3: U+1F600 is written with surrogates (D83D ...), which stand before U+FB33.
    assert canonical({"\ufb33": 1, "\U0001f600": 2}) == '{"\U0001f600":2,"\ufb33":1}'.encode()


@pytest.mark.parametrize(
    "value",
    [float("nan"), float("inf"), float("-inf"), 2**53, -(2**53), "\ud800", {"\ud800": 1}, object()],
    ids=[
        "nan",
        "infinity",
        "minus infinity",
        "too large",
        "too small",
        "surrogate",
        "surrogate name",
        "object",
    ],
)
def test_what_has_no_canonical_form_is_refused(value: object) -> None:
    with pytest.raises(InvalidValueError):
        canonical(value)


@pytest.mark.parametrize(
    "text",
    [
        '{"a":1,"a":1}',
        '{"b":1,"a":2}',
        '{"a": 1}',
        '{"a":1.0}',
        '{"a":1e0}',
        '{"a":-0}',
        '{"a":100000000000000000001}',
        '{"a":NaN}',
        '{"a":"\\u0041"}',
        '{"a":1}\n',
        "",
        "[" * 5000,
        "9" * 5000,
        "\ufeff{}",
    ],
    ids=[
        "doubled name",
        "unsorted",
        "space",
        "fraction of a whole",
        "exponent of a whole",
        "minus zero",
        "digits beyond a double",
        "nan",
        "escape that is none",
        "line feed after",
        "nothing",
        "bottomless",
        "endless digits",
        "byte order mark",
    ],
)
def test_a_second_spelling_of_the_same_data_is_refused(text: str) -> None:
    with pytest.raises(FileFormatError):
        require_canonical(text.encode(), "This")


def test_bytes_that_are_not_utf_8_are_refused() -> None:
    with pytest.raises(FileFormatError):
        require_canonical(b'"\xff"', "This")


@pytest.mark.parametrize("record", [fit_record(), held_record()], ids=["fit", "held"])
def test_a_record_comes_back_as_it_was(record: object) -> None:
    assert record_from(record_bytes(record)) == record  # type: ignore[arg-type] # both are records


def test_a_record_of_another_major_version_is_refused_by_name() -> None:
    data = canonical(msgspec.structs.replace(fit_record(), format="record/2"))
    with pytest.raises(UnknownFormatError, match="record/2"):
        record_from(data)


def test_a_field_from_a_later_version_does_not_stop_the_reading() -> None:
    plain = msgspec.to_builtins(fit_record())
    assert record_from(canonical({**plain, "later": 1})) == fit_record()


@pytest.mark.parametrize(
    "data",
    [b"[]", b"{}", b'{"format":"record/1"}', b'{"format":1}', b"null"],
    ids=["list", "empty", "only its format", "number as format", "null"],
)
def test_what_is_no_record_is_refused(data: bytes) -> None:
    with pytest.raises(FileFormatError):
        record_from(data)


def test_a_record_with_text_that_is_not_unicode_is_never_written() -> None:
    with pytest.raises(InvalidValueError):
        record_bytes(msgspec.structs.replace(fit_record(), tool="\udcff"))


# The quick way must never write or accept what the library for RFC 8785 does not.

_JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**60), 2**60)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.sampled_from([1.0, -0.0, 1e16, 1e21, 1e-4, 1e-5, 1e-6, 1e-7, 2.0**53, 123456789012345680.0])
    | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(max_size=3) | st.sampled_from(["\ufb33", "\U0001f600"]), inner, max_size=4)
    ),
    max_leaves=12,
)


def _by_the_library_alone(text: str, monkeypatch: pytest.MonkeyPatch) -> bool:
    with monkeypatch.context() as patched:
        patched.setattr(module, "_quickly", lambda _: None)
        return _accepted(text)


def _accepted(text: str) -> bool:
    try:
        require_canonical(text.encode("utf-8", "surrogatepass"), "It")
    except FileFormatError:
        return False
    return True


_SPELLINGS = (
    lambda value: json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True),
    lambda value: json.dumps(value, ensure_ascii=False, separators=(",", ":")),
    lambda value: json.dumps(value, separators=(",", ":"), sort_keys=True),
    lambda value: json.dumps(value, ensure_ascii=False, sort_keys=True),
    lambda value: canonical(value).decode() if _has_form(value) else "1",
    lambda value: canonical(value).decode().upper() if _has_form(value) else "1",
)


def _has_form(value: object) -> bool:
    try:
        canonical(value)
    except InvalidValueError:
        return False
    return True


@settings(max_examples=400, deadline=None)
@given(value=_JSON, spelling=st.sampled_from(_SPELLINGS))
def test_the_quick_way_agrees_with_the_library_for_rfc_8785(value: object, spelling: object) -> None:
    assert callable(spelling)
    text = spelling(value)
    with pytest.MonkeyPatch.context() as patched:
        assert _accepted(text) == _by_the_library_alone(text, patched)


@pytest.mark.parametrize(
    "text",
    [
        "1.0", "1e2", "1E2", "-0", "-0.0", "1e-5", "0.00001", "1e+21", "1e21", "1e16", "10000000000000000",
        "9007199254740993", '"\\u0041"', '"\\/"', '"\\u000A"', '"\\ud800"', '{"b":1,"a":2}', '{"a":1,"a":1}',
        " 1", "1 ", "[1, 2]", "NaN", "Infinity", "", "\ufeff1", '"\x7f"', '"\u2028"',
    ],
    ids=ascii,
)  # fmt: skip
def test_each_odd_spelling_is_judged_alike_by_both_ways(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert _accepted(text) == _by_the_library_alone(text, monkeypatch)


@settings(max_examples=400, deadline=None)
@given(value=_JSON)
def test_the_quick_way_writes_what_the_library_for_rfc_8785_writes(value: object) -> None:
    data = module._quickly(value)
    assert data is None or data == rfc8785.dumps(value)  # type: ignore[arg-type] # it checks for itself


@pytest.mark.parametrize(
    "value",
    [{1: "a"}, (1, b"a"), [{"a": {None: 1}}], b"a", {"a"}, float("nan"), float("inf"), 2**53, "\ud800"],
    ids=repr,
)
def test_what_is_not_plain_json_is_left_to_the_library(value: object) -> None:
    assert module._quickly(value) is None


def test_the_quick_way_is_taken_for_records() -> None:
    for record in (fit_record(), held_record()):
        assert module._quickly(msgspec.to_builtins(record)) == rfc8785.dumps(msgspec.to_builtins(record))
