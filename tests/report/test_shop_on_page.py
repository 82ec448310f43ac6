"""The shop on the page: what its file said, its mark, and the page provable from itself."""

import html
import os
import re
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from verify.record.canonical import record_bytes, record_from
from verify.record.model import Shop
from verify.report.images import images_in
from verify.report.prove import prove
from verify.report.render import render
from verify.report.shop import shop_view
from verify.report.sign_off import prepare
from verify.report.summary import render_summary
from verify.report.words import SHOP
from verify.testing.sample_course import full_record, sample_pictures
from verify.testing.sample_record import fit_record
from verify.testing.sample_shop import LOGO, sample_logo, sample_shop, with_shop
from verify.testing.sample_signatures import known, sample_key, signed_by

_KEYS = (sample_key("technician"), sample_key("reviewer"))
_PICTURES = {**sample_pictures(), LOGO: sample_logo()}
_HOSTILE = "</p><img src=x onerror=alert(1)>\u202e<!--part record-->"


def _owner(page: bytes) -> str:
    part = page.partition(b"<!--part owner-->")[2].partition(b"<!--part technician-->")[0]
    return html.unescape(re.sub(r"<[^>]*>", "", part.decode()))


def test_the_owner_reads_who_the_shop_is_and_what_it_promises() -> None:
    told = _owner(render(with_shop(fit_record()), _PICTURES))
    for text in (
        "14 Ropewalk Lane",
        "bench@tidewater-repairs.example",
        "90 days from the day the machine is handed back.",
        "For the parts that were fitted.",
        "Data are left alone.",
    ):
        assert text in told, text


def test_at_danger_signs_the_number_stands_where_it_is_needed() -> None:
    assert "Call the shop: +1 202 555 0142" in _owner(render(with_shop(fit_record())))
    without = _owner(render(fit_record()))
    assert "Call the shop." in without
    assert "Call the shop:" not in without


def test_a_shop_that_promises_nothing_is_not_made_to() -> None:
    bare = msgspec.structs.replace(fit_record(), shop=Shop(telephone="+1 202 555 0142"))
    assert SHOP["no_warranty"] in _owner(render(bare))
    assert shop_view(bare, {}).warranty == (SHOP["no_warranty"],)
    # Nobody told of it: then nothing is said, neither that there is one nor that there is none.
    assert SHOP["warranty"] not in _owner(render(fit_record()))


def test_the_mark_is_shown_and_called_by_the_shop_s_name() -> None:
    page = render(with_shop(fit_record()), _PICTURES)
    assert page.count(b'<img class="logo shown" src="data:image/png;base64,') == 1
    assert b'alt="Tidewater Repairs"' in page
    assert images_in(page, with_shop(fit_record()))[LOGO] == sample_logo()


@pytest.mark.parametrize("render_it", [render, render_summary], ids=["report", "summary"])
@pytest.mark.parametrize(
    ("found", "says"),
    [({}, "missing_logo"), ({LOGO: b"another"}, "altered_logo")],
    ids=["missing", "exchanged"],
)
def test_a_mark_that_is_not_the_one_taken_over_is_told_and_the_page_still_makes_itself_again(
    found: dict[str, bytes], says: str, render_it: Callable[..., bytes]
) -> None:
    record = with_shop(fit_record())
    page = render_it(record, found)
    assert b'<img class="logo' not in page
    assert SHOP[says] in html.unescape(page.decode())
    assert render_it(record, images_in(page, record)) == page


@pytest.mark.parametrize("field", ["address", "telephone", "mail", "web", "warranty", "terms"])
def test_nothing_in_a_shop_s_words_becomes_markup(field: str) -> None:
    value = (_HOSTILE,) if field in {"address", "terms"} else _HOSTILE
    record = msgspec.structs.replace(
        fit_record(), shop=msgspec.structs.replace(sample_shop(), **{field: value})
    )
    for page in (render(record, _PICTURES), render_summary(record, _PICTURES)):
        assert b"<img src=x" not in page
        assert "\u202e" not in page.decode().partition("<pre id=")[0]


def test_a_hostile_name_does_not_break_out_of_the_mark_s_words() -> None:
    record = with_shop(fit_record())
    record = msgspec.structs.replace(
        record, ticket=msgspec.structs.replace(record.ticket, shop='"><b>Ready</b>')
    )
    for page in (render(record, _PICTURES), render_summary(record, _PICTURES)):
        assert b"<b>Ready" not in page
        assert images_in(page, record)[LOGO] == sample_logo()


def test_a_signed_page_with_a_mark_is_proven_without_a_doubt() -> None:
    data = signed_by(with_shop(full_record()), *_KEYS, pictures=_PICTURES)
    proof = prove(data, trusted=known(*_KEYS))
    assert (proof.doubts, proof.released) == ((), True)


def test_a_mark_exchanged_before_signing_is_noted_by_proof() -> None:
    data = signed_by(with_shop(full_record()), *_KEYS, pictures={**sample_pictures(), LOGO: b"other"})
    assert SHOP["altered_logo"] in prove(data, trusted=known(*_KEYS)).notes


def test_who_signs_is_told_that_the_mark_is_not_shown(tmp_path: Path) -> None:
    record = msgspec.structs.replace(with_shop(fit_record()), traces=())
    assert prepare(tmp_path, record).unseen == (SHOP["missing_logo"],)
    (tmp_path / LOGO).write_bytes(sample_logo())
    assert prepare(tmp_path, record).unseen == ()
    (tmp_path / LOGO).unlink()
    os.mkfifo(tmp_path / LOGO)  # whoever opens it would wait for ever
    assert prepare(tmp_path, record).unseen == (SHOP["missing_logo"],)


def test_a_record_of_a_time_without_shops_is_read() -> None:
    old = record_bytes(fit_record()).replace(b'"shop":null,', b"", 1)
    assert b'"shop":null' not in old
    assert record_from(old) == fit_record()
