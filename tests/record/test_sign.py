"""Who may put which signature under which page."""

from datetime import UTC, datetime

import msgspec
import pytest

from verify.record.examine import examine
from verify.record.model import RequiredSigner
from verify.record.page import MARKER, PAGE_END, parts_of, record_in
from verify.record.sign import sign_page
from verify.report.render import render
from verify.testing.sample_record import fit_record
from verify.testing.sample_signatures import SIGNED_AT, sample_key, signed_by
from verify.values.errors import AlteredError, HandbackError, InvalidValueError, NotAReportError, OrderError

_TECHNICIAN, _REVIEWER = sample_key("technician"), sample_key("reviewer")


def test_each_signer_covers_all_bytes_before_the_own_line() -> None:
    data = signed_by(fit_record(), _TECHNICIAN, _REVIEWER)
    first, second = examine(data).seals
    assert first.payload.length == len(render(fit_record())) == data.index(MARKER)
    assert second.payload.length == data.rindex(MARKER)
    assert (first.payload.order, second.payload.order) == (1, 2)


def test_the_layout_is_the_page_and_one_line_a_signer() -> None:
    data = signed_by(fit_record(), _TECHNICIAN, _REVIEWER)
    page, *lines = data.split(MARKER)
    assert page.endswith(PAGE_END)
    assert len(lines) == 2
    assert all(line.endswith(b"-->\n") and line.count(b"\n") == 1 for line in lines)


def test_the_wrong_role_is_told_whose_turn_it_is() -> None:
    with pytest.raises(OrderError, match="technician"):
        signed_by(fit_record(), _REVIEWER)


def test_a_third_signature_is_refused() -> None:
    with pytest.raises(OrderError, match="All who have to sign"):
        signed_by(fit_record(), _TECHNICIAN, _REVIEWER, _REVIEWER)


def test_one_person_cannot_sign_for_two() -> None:
    two = (RequiredSigner(order=1, role="technician"), RequiredSigner(order=2, role="technician"))
    record = msgspec.structs.replace(fit_record(), signers=two)
    with pytest.raises(OrderError, match="signed already"):
        signed_by(record, _TECHNICIAN, _TECHNICIAN)


def test_a_named_key_is_asked_for_by_its_thumbprint() -> None:
    named = RequiredSigner(order=1, role="technician", thumbprint=_TECHNICIAN.card.thumbprint)
    record = msgspec.structs.replace(fit_record(), signers=(named,))
    assert len(examine(signed_by(record, _TECHNICIAN)).seals) == 1
    with pytest.raises(OrderError, match="with the key"):
        signed_by(record, sample_key("technician", "Somebody Else"))


def test_a_record_that_names_no_signer_cannot_be_signed() -> None:
    with pytest.raises(OrderError, match="nobody"):
        signed_by(msgspec.structs.replace(fit_record(), signers=()), _TECHNICIAN)


def test_an_altered_page_gets_no_second_signature() -> None:
    data = signed_by(fit_record(), _TECHNICIAN).replace(b"Ready", b"Reedy", 1)
    with pytest.raises(AlteredError):
        sign_page(data, key=_REVIEWER, at=SIGNED_AT)


@pytest.mark.parametrize(
    ("old", "new", "error"),
    [
        (PAGE_END, b"</html>", InvalidValueError),
        (b'<pre id="handback-record">', b"<pre>", NotAReportError),
        (b"</pre>", b"", NotAReportError),
        (b"<!--part owner-->", b"<!--part owner--><!--part owner-->", NotAReportError),
        (b"&lt;", b"&#60;", NotAReportError),
    ],
    ids=["no end", "no record", "record without end", "part twice", "escaped another way"],
)
def test_what_is_no_report_page_is_not_signed(old: bytes, new: bytes, error: type[HandbackError]) -> None:
    record = msgspec.structs.replace(fit_record(), read_by="<linux>")
    page = render(record)
    assert old in page
    with pytest.raises(error):
        sign_page(page.replace(old, new), key=_TECHNICIAN, at=SIGNED_AT)


def test_a_clock_that_stands_before_the_run_is_said_in_the_signature() -> None:
    early = datetime(1970, 1, 1, tzinfo=UTC)
    data = sign_page(render(fit_record()), key=_TECHNICIAN, at=early)
    assert "do not trust it" in examine(data).seals[0].payload.clock_note
    honest = sign_page(render(fit_record()), key=_TECHNICIAN, at=SIGNED_AT)
    assert "do not trust it" not in examine(honest).seals[0].payload.clock_note


def test_the_parts_of_a_page_are_the_whole_page() -> None:
    page = render(fit_record())
    parts = parts_of(page)
    assert b"".join(parts.values()) == page
    assert list(parts) == ["head", "owner", "technician", "record", "end"]
    assert record_in(page) == record_in(parts["record"])
