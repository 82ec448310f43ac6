"""Pictures in the page: only the ones taken, others told, and the page provable from itself."""

import base64
import os
import re
from io import BytesIO
from pathlib import Path

import msgspec
import pytest
from PIL import Image

from verify.record.arrival import Picture
from verify.record.canonical import sha256_hex
from verify.record.model import Record
from verify.record.page import parts_of
from verify.record.sign import sign_page
from verify.report.issue import issue_report
from verify.report.packed import traces_in
from verify.report.pictures import pictures_in, read_pictures
from verify.report.prove import prove
from verify.report.render import render
from verify.report.sign_off import prepare, sign_off
from verify.run.pictures import take_over
from verify.testing.sample_course import arrival, full_record, sample_pictures
from verify.testing.sample_pages import pictured_record
from verify.testing.sample_record import fit_record
from verify.testing.sample_signatures import SIGNED_AT, known, sample_key, signed_by
from verify.values.errors import AlteredError

_TECHNICIAN, _REVIEWER = sample_key("technician"), sample_key("reviewer")
_KNOWN = known(_TECHNICIAN, _REVIEWER)
_WET, _SEAM = "pictures/01.jpg", "pictures/02.jpg"
_ALTERED = "NOT SHOWN: the file in the run&#39;s folder is not the picture that was taken."
_MISSING = "Not shown: it was not in the run&#39;s folder, or could not be read."


def _folder(tmp_path: Path) -> Path:
    (tmp_path / "pictures").mkdir()
    for name, data in sample_pictures().items():
        (tmp_path / name).write_bytes(data)
    return tmp_path


def _embedded(page: bytes) -> list[bytes]:
    """Return the pictures of a page as any reader of RFC 2397 data: addresses gets them."""
    return [base64.b64decode(text) for text in re.findall(rb' href="data:image/jpeg;base64,([^"]*)"', page)]


def _other_picture() -> bytes:
    data = BytesIO()
    Image.new("RGB", (40, 30), (9, 9, 9)).save(data, "JPEG")
    return data.getvalue()


def _a_pipe_instead(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def _a_folder_instead(path: Path) -> None:
    path.unlink()
    path.mkdir()


def test_the_page_carries_the_very_bytes_that_were_taken_over(tmp_path: Path) -> None:
    # From a camera's file to the page, through the real steps.
    source = tmp_path / "from the camera.png"
    Image.new("RGB", (300, 200), (20, 90, 200)).save(source)
    picture = take_over(tmp_path, source, number=1, shows="The lid.")
    record = msgspec.structs.replace(
        fit_record(), arrival=msgspec.structs.replace(arrival(), pictures=(picture,))
    )
    page = issue_report(tmp_path, record).read_bytes()
    assert _embedded(page) == [(tmp_path / picture.file).read_bytes()]
    assert sha256_hex(_embedded(page)[0]) == picture.sha256
    assert b'aria-label="Picture 1: The lid."' in page
    with Image.open(BytesIO(_embedded(page)[0])) as shown:
        assert shown.size == (300, 200)


def test_the_same_record_and_pictures_give_the_same_bytes(tmp_path: Path) -> None:
    first = issue_report(_folder(tmp_path), full_record()).read_bytes()
    assert issue_report(tmp_path, full_record()).read_bytes() == first
    assert render(full_record(), sample_pictures(), {}) == first
    assert render(full_record(), pictures_in(first, full_record()), traces_in(first, full_record())) == first


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda path: path.write_bytes(path.read_bytes()[:-1] + b"\x00"), _ALTERED),
        (lambda path: path.write_bytes(path.read_bytes() + b"\n"), _ALTERED),
        (lambda path: path.write_bytes(b""), _ALTERED),
        (lambda path: path.write_bytes(_other_picture()), _ALTERED),
        (lambda path: path.unlink(), _MISSING),
        (_a_folder_instead, _MISSING),
        (_a_pipe_instead, _MISSING),
    ],
    ids=["last byte", "a byte more", "emptied", "exchanged", "gone", "a folder", "a pipe"],
)
def test_a_picture_that_is_not_the_one_taken_is_told_and_not_shown(
    tmp_path: Path, change: object, says: str
) -> None:
    assert callable(change)
    folder = _folder(tmp_path)
    change(folder / _WET)
    page = issue_report(folder, full_record()).read_bytes()
    assert _embedded(page) == [sample_pictures()[_SEAM]]
    assert page.decode().count(says) == 1
    assert b"1 cannot be shown; why stands there." in page
    assert page.count(b"data:image/jpeg") == 1
    assert b"Tea between the keys." in page.partition(b"<!--part record-->")[0]


def test_pictures_that_changed_places_are_both_noticed(tmp_path: Path) -> None:
    folder, taken = _folder(tmp_path), sample_pictures()
    (folder / _WET).write_bytes(taken[_SEAM])
    (folder / _SEAM).write_bytes(taken[_WET])
    page = issue_report(folder, full_record()).read_bytes()
    assert _embedded(page) == []
    assert page.decode().count(_ALTERED) == 2


@pytest.mark.parametrize(
    "name", ["../outside.jpg", "/etc/hostname", "pictures/../outside.jpg", "journal.jsonl"]
)
def test_a_record_does_not_reach_for_files_that_are_no_pictures_of_the_run(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "run"
    (folder / "pictures").mkdir(parents=True)
    for place in (tmp_path / "outside.jpg", folder / "outside.jpg", folder / "journal.jsonl"):
        place.write_bytes(_other_picture())
    picture = Picture(file=name, sha256=sha256_hex(_other_picture()))
    record = msgspec.structs.replace(
        fit_record(), arrival=msgspec.structs.replace(arrival(), pictures=(picture,))
    )
    assert read_pictures(folder, record) == {}
    assert _MISSING in issue_report(folder, record).read_bytes().decode()


def test_a_signed_page_with_pictures_is_whole_without_the_folder() -> None:
    data = signed_by(full_record(), _TECHNICIAN, _REVIEWER, pictures=sample_pictures())
    proof = prove(data, trusted=_KNOWN, at=SIGNED_AT)
    assert proof.released
    assert proof.doubts == ()
    assert not [note for note in proof.notes if note.startswith("Picture")]


def test_a_page_that_could_not_show_a_picture_is_whole_and_says_so() -> None:
    pictures = {_WET: b"another"}
    proof = prove(signed_by(full_record(), _TECHNICIAN, _REVIEWER, pictures=pictures), trusted=_KNOWN)
    assert proof.doubts == ()
    assert [note[:22] for note in proof.notes if note.startswith("Picture")] == [
        "Picture 1: NOT SHOWN: ",
        "Picture 2: Not shown: ",
    ]


def test_a_signed_page_says_that_the_pictures_are_where_it_was_changed() -> None:
    data = signed_by(full_record(), _TECHNICIAN, pictures=sample_pictures())
    assert data.count(b";base64,/9j/4AAQ") == 2
    with pytest.raises(AlteredError, match=r"signed it\. Changed: the pictures\. ") as caught:
        prove(data.replace(b";base64,/9j/4AAQ", b";base64,/9j/4ABQ", 1), trusted=_KNOWN)
    assert "\n" not in str(caught.value)


def _with_another_picture(page: bytes) -> bytes:
    own = base64.b64encode(sample_pictures()[_WET])
    assert own in page
    return page.replace(own, base64.b64encode(_other_picture()))


def _without_its_figure(page: bytes) -> bytes:
    return re.sub(rb'<figure id="picture-1".*?</figure>\n', b"", page, count=1, flags=re.DOTALL)


def _without_its_data(page: bytes) -> bytes:
    return re.sub(rb'<image id="picture-data-1"[^>]*>\n', b"", page, count=1)


@pytest.mark.parametrize(
    "dress",
    [_with_another_picture, _without_its_figure, _without_its_data],
    ids=["exchanged", "its place left out", "its data left out"],
)
def test_a_page_that_its_own_signer_gave_other_pictures_is_doubted(dress: object) -> None:
    assert callable(dress)
    page = dress(render(full_record(), sample_pictures()))
    data = sign_page(page, key=_TECHNICIAN, at=SIGNED_AT)
    proof = prove(sign_page(data, key=_REVIEWER, at=SIGNED_AT), trusted=_KNOWN)
    assert proof.complete
    assert not proof.released
    assert "not the one that its record makes" in proof.doubts[0]


def test_the_same_picture_in_another_spelling_of_base64_is_doubted() -> None:
    # RFC 4648, 3.5: the last character before the padding has spare bits that lax readers pass over.
    data = sample_pictures()[_WET]
    data += b"\0" * (1 + -len(data) % 3)
    picture = Picture(file=_WET, sha256=sha256_hex(data))
    record = msgspec.structs.replace(
        fit_record(), arrival=msgspec.structs.replace(arrival(), pictures=(picture,))
    )
    own = base64.b64encode(data)
    assert own.endswith(b"A==")
    other = own[:-3] + b"B=="
    assert base64.b64decode(other) == data
    page = render(record, {_WET: data})
    assert page.count(own) == 1
    proof = prove(sign_page(page.replace(own, other), key=_TECHNICIAN, at=SIGNED_AT), trusted=_KNOWN)
    assert "not the one that its record makes" in proof.doubts[0]


def test_two_sign_one_after_the_other_though_a_picture_was_lost_in_between(tmp_path: Path) -> None:
    folder, record = _folder(tmp_path), msgspec.structs.replace(full_record(), traces=())
    sign_off(folder, prepare(folder, record), key=_TECHNICIAN, at=SIGNED_AT)
    (folder / _SEAM).unlink()
    (folder / _WET).write_bytes(_other_picture())
    prepared = prepare(folder, record)
    assert prepared.unseen == ()
    signed = sign_off(folder, prepared, key=_REVIEWER, at=SIGNED_AT).read_bytes()
    assert prove(signed, trusted=_KNOWN).released
    assert _embedded(signed) == list(sample_pictures().values())


def test_the_signer_is_told_which_pictures_the_page_does_not_show(tmp_path: Path) -> None:
    folder, record = _folder(tmp_path), msgspec.structs.replace(full_record(), traces=())
    (folder / _SEAM).write_bytes(_other_picture())
    prepared = prepare(folder, record)
    assert [line.partition(" the file")[0] for line in prepared.unseen] == ["Picture 2: NOT SHOWN:"]
    sign_off(folder, prepared, key=_TECHNICIAN, at=SIGNED_AT)
    assert prepare(folder, record).unseen == prepared.unseen


def test_a_second_signer_is_not_led_to_sign_a_page_that_hides_a_picture(tmp_path: Path) -> None:
    folder, record = _folder(tmp_path), full_record()
    hidden = render(record, {_SEAM: sample_pictures()[_SEAM]})  # as if 01 had been lost; it lies there
    (folder / "report.html").write_bytes(sign_page(hidden, key=_TECHNICIAN, at=SIGNED_AT))
    with pytest.raises(AlteredError, match="show something else"):
        prepare(folder, record)


def _without_pictures(record: Record) -> Record:
    return msgspec.structs.replace(record, arrival=msgspec.structs.replace(arrival(), pictures=()))


@pytest.mark.parametrize(
    ("record", "parts"),
    [
        (full_record(), ["head", "owner", "technician", "pictures", "record", "end"]),
        (_without_pictures(full_record()), ["head", "owner", "technician", "record", "end"]),
        (fit_record(), ["head", "owner", "technician", "record", "end"]),
    ],
    ids=["pictures", "none taken", "no arrival"],
)
def test_pictures_are_a_part_of_their_own_and_only_where_there_are_any(
    record: Record, parts: list[str]
) -> None:
    assert list(parts_of(render(record, sample_pictures()))) == parts


# Pictures at the check that they belong to


def test_a_picture_stands_in_the_row_of_its_check_and_its_bytes_once_in_their_own_part() -> None:
    record, taken = pictured_record(2)
    parts = parts_of(render(record, taken))
    rows = parts["technician"].split(b'<td class="came">')
    row = next(one for one in rows if b'<span class="ask"><bdi>Follow both radio leads' in one)
    assert re.findall(rb'<figure id="picture-(\d+)"', row) == [b"3", b"4"]
    assert b'<use href="#picture-data-3"/>' in row
    assert b"Picture 3: <bdi>Lead 3.</bdi>" in row
    assert b"base64" not in parts["technician"]
    assert _embedded(parts["pictures"]) == list(taken.values())


@pytest.mark.parametrize("count", [0, 1, 40])
def test_each_picture_has_one_number_one_place_and_one_copy(count: int) -> None:
    record, taken = pictured_record(count)
    page = render(record, taken)
    numbers = [str(number).encode() for number in range(1, count + 3)]
    assert re.findall(rb'<figure id="picture-(\d+)"', page) == numbers
    assert re.findall(rb'<use href="#picture-data-(\d+)"', page) == numbers
    assert re.findall(rb'<image id="picture-data-(\d+)"', page) == numbers
    assert render(record, pictures_in(page, record)) == page


def test_the_frame_of_a_picture_has_the_shape_that_another_reader_finds() -> None:
    # The other reader: pillow, a general-purpose library for pictures.
    for data in sample_pictures().values():
        with Image.open(BytesIO(data)) as image:
            size = image.size
        progressive = BytesIO()
        with Image.open(BytesIO(data)) as image:
            image.save(progressive, "JPEG", progressive=True)
        for one in (data, progressive.getvalue()):
            picture = Picture(file=_WET, sha256=sha256_hex(one))
            record = msgspec.structs.replace(
                fit_record(), arrival=msgspec.structs.replace(arrival(), pictures=(picture,))
            )
            assert f'viewBox="0 0 {size[0]} {size[1]}"'.encode() in render(record, {_WET: one})


def _kept(page: bytes, number: int) -> bytes:
    found = re.search(rb'<image id="picture-data-%d"[^>]*>\n' % number, page)
    assert found is not None
    return found[0]


def _data(page: bytes, number: int) -> bytes:
    return _kept(page, number).partition(b"base64,")[2].partition(b'"')[0]


def _exchange(page: bytes) -> bytes:
    return page.replace(_data(page, 3), base64.b64encode(_other_picture()))


def _swap(page: bytes) -> bytes:
    first, second = _data(page, 1), _data(page, 4)
    return page.replace(first, b"-").replace(second, first).replace(b'base64,-"', b'base64,%b"' % second)


def _take_away(page: bytes) -> bytes:
    return page.replace(_kept(page, 3), b"")


def _call_missing(page: bytes) -> bytes:
    return page.replace(_kept(page, 3), b'<g id="picture-data-3" class="missing"/>\n')


def _one_byte(page: bytes) -> bytes:
    own = _data(page, 3)
    return page.replace(own, own[:-8] + (b"A" if own[-8:-7] != b"A" else b"B") + own[-7:])


def _no_base64(page: bytes) -> bytes:
    own = _data(page, 3)
    return page.replace(own, own[:-1])


def _take_all_away(page: bytes) -> bytes:
    return page.replace(parts_of(page)["pictures"], b"")


_AT = "at “Follow both radio leads to their plugs.”"
_IN, _NOT_IT, _GONE = "taken on arrival", "is not the one that was taken.", "is not there any more."
_CHANGED = "Changed: the pictures."
_OTHER = "Its parts are not the ones that were signed. Picture"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (_exchange, f"{_CHANGED} Picture 3, {_AT}, {_NOT_IT}"),
        (_swap, f"{_CHANGED} Picture 1, {_IN}, {_NOT_IT} Picture 4, {_AT}, {_NOT_IT}"),
        (_take_away, f"{_CHANGED} Picture 3, {_AT}, {_GONE}"),
        (_call_missing, f"{_CHANGED} Picture 3, {_AT}, {_GONE}"),
        (_one_byte, f"{_CHANGED} Picture 3, {_AT}, {_NOT_IT}"),
        (_no_base64, f"{_CHANGED} Picture 3, {_AT}, {_NOT_IT}"),
        (_take_all_away, f"{_OTHER} 1, {_IN}, {_GONE} Picture 2, {_IN}, {_GONE} Picture 3, {_AT}, {_GONE}"),
    ],
    ids=["exchanged", "two swapped", "gone", "called missing", "one byte", "cut", "all gone"],
)
def test_a_changed_picture_is_told_by_its_number_and_its_check(change: object, told: str) -> None:
    assert callable(change)
    record, taken = pictured_record(2)
    data = change(signed_by(record, _TECHNICIAN, pictures=taken))
    with pytest.raises(AlteredError) as caught:
        prove(data, trusted=_KNOWN)
    assert f"signed it. {told}" in str(caught.value)


def _two_checks() -> tuple[Record, dict[str, bytes]]:
    """Return a record with a picture at each of two checks, the second one out of date."""
    record, taken = pictured_record(2)
    third, fourth = next(one.pictures for one in record.results if one.pictures)
    results = list(record.results)
    at = next(at for at, one in enumerate(results) if one.pictures)
    old = msgspec.structs.replace(fourth, out_of_date="The base was opened again.")
    results[at] = msgspec.structs.replace(results[at], pictures=(third,))
    results[at + 1] = msgspec.structs.replace(results[at + 1], pictures=(old,))
    return msgspec.structs.replace(record, results=tuple(results)), taken


def _figure(page: bytes, number: int) -> bytes:
    found = re.search(rb'<figure id="picture-%d".*?</figure>\n' % number, page, re.DOTALL)
    assert found is not None
    return found[0]


def _uses_swapped(page: bytes) -> bytes:
    third, fourth = (b'<use href="#picture-data-%d"/>' % number for number in (3, 4))
    return page.replace(third, b"-").replace(fourth, third).replace(b">-<", b">%b<" % fourth)


def _figures_exchanged(page: bytes) -> bytes:
    third, fourth = _figure(page, 3), _figure(page, 4)
    return page.replace(third, b"\0").replace(fourth, third).replace(b"\0", fourth)


def _beside_the_other(page: bytes) -> bytes:
    moved = _figure(page, 4)
    return page.replace(moved, b"").replace(_figure(page, 3), _figure(page, 3) + moved)


def _passed_as_current(page: bytes) -> bytes:
    figure = _figure(page, 4)
    return page.replace(figure, re.sub(rb'<span class="small">.*?</span>', b"", figure))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (_uses_swapped, ("In the place of picture 3, at “{0}”, stands picture 4.", "stands picture 3.")),
        (
            _figures_exchanged,
            ("Picture 3, at “{0}”, was moved to “{1}”.", "4, at “{1}”, was moved to “{0}”."),
        ),
        (_beside_the_other, ("Picture 4, at “{1}”, was moved to “{0}”.",)),
        (lambda page: page.replace(_figure(page, 3), b""), ("Picture 3, at “{0}”, has no place any more.",)),
        (_passed_as_current, ("Picture 4, at “{1}”, is not marked as out of date any more.",)),
    ],
    ids=["two swapped by what they show", "two exchanged", "moved", "place taken away", "passed as current"],
)
def test_a_picture_at_another_place_is_told_by_its_number_and_its_check(
    change: object, told: tuple[str, ...]
) -> None:
    assert callable(change)
    record, taken = _two_checks()
    asks = [one.ask for one in record.results if one.pictures]
    signed = signed_by(record, _TECHNICIAN, pictures=taken)
    data = change(signed)
    assert data != signed
    with pytest.raises(AlteredError) as caught:
        prove(data, trusted=_KNOWN)
    assert "Changed: the technician's part. " in str(caught.value)
    for line in told:
        assert line.format(*asks) in str(caught.value)
    assert str(caught.value).count("icture") == len(told) + sum("picture" in line[3:] for line in told)


def test_another_change_beside_pictures_is_not_laid_on_them() -> None:
    record, taken = _two_checks()
    data = signed_by(record, _TECHNICIAN, pictures=taken).replace(b"Good: ", b"Bad: ")
    with pytest.raises(AlteredError, match="Changed: the owner's part, the technician's part") as caught:
        prove(data, trusted=_KNOWN)
    assert "icture" not in str(caught.value)


def test_a_page_stuffed_with_beginnings_is_told_as_quickly_as_any() -> None:
    record, taken = _two_checks()
    stuffing = b'<figure id="picture-3" class="picture shown">' * 200_000  # squared: hours
    data = signed_by(record, _TECHNICIAN, pictures=taken).replace(
        b"<!--part technician-->", b"<!--part technician-->" + stuffing
    )
    with pytest.raises(AlteredError, match="Changed: the technician's part"):
        prove(data, trusted=_KNOWN)


def test_many_changed_pictures_are_told_in_few_words() -> None:
    record, taken = pictured_record(40)
    data = _take_all_away(signed_by(record, _TECHNICIAN, pictures=taken))
    with pytest.raises(AlteredError, match=r"So are 37 more\.") as caught:
        prove(data, trusted=_KNOWN)
    assert str(caught.value).count("Picture ") == 5


def test_a_picture_that_was_not_shown_when_it_was_signed_is_not_called_changed() -> None:
    record, taken = pictured_record(2)
    gone = {name: data for name, data in taken.items() if name != "pictures/04.jpg"}
    with pytest.raises(AlteredError) as caught:
        prove(_exchange(signed_by(record, _TECHNICIAN, pictures=gone)), trusted=_KNOWN)
    assert "Picture 3" in str(caught.value)
    assert "Picture 4" not in str(caught.value)


def test_no_picture_is_judged_by_a_record_that_was_changed_too() -> None:
    record, taken = pictured_record(2)
    data = _exchange(signed_by(record, _TECHNICIAN, pictures=taken))
    data = data.replace(b'"ticket":{"bench":"', b'"ticket":{"bench":"x', 1)
    with pytest.raises(AlteredError, match="the pictures, the record kept in the page") as caught:
        prove(data, trusted=_KNOWN)
    assert "Picture 3" not in str(caught.value)


def test_the_words_of_a_check_cannot_pass_for_words_of_the_proof() -> None:
    record, taken = pictured_record(2)
    hostile = "x\n\nWhole, released.\x1b[2J" + "y" * 500
    results = tuple(msgspec.structs.replace(one, ask=hostile) for one in record.results)
    record = msgspec.structs.replace(record, results=results)
    with pytest.raises(AlteredError) as caught:
        prove(_exchange(signed_by(record, _TECHNICIAN, pictures=taken)), trusted=_KNOWN)
    assert "\n" not in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert "y" * 100 not in str(caught.value)
