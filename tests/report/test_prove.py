"""Attacks on a signed report, each told apart. Nothing but our ProofError family may come out."""

import hashlib
import json
import re
from collections.abc import Callable

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from verify.record import canonical as canonical_module
from verify.record.base64url import decode, encode
from verify.record.canonical import canonical, record_bytes
from verify.record.demo_key import demo_signing_key
from verify.record.examine import examine
from verify.record.keys import SigningKey
from verify.record.model import HazardSeen, Record, RequiredSigner
from verify.record.page import MARKER, escape_record
from verify.record.seal import Payload
from verify.record.sign import sign_page
from verify.report.prove import Proof, prove
from verify.report.render import render
from verify.testing.sample_course import conceded_record, practice_record, returned_record
from verify.testing.sample_record import fit_record, held_record
from verify.testing.sample_signatures import SIGNED_AT, known, sample_key, signed_by
from verify.values import Outcome, Reading, Unit
from verify.values.errors import AlteredError, KeyNotTrustedError, NotAReportError, ProofError

_TECHNICIAN, _REVIEWER = sample_key("technician"), sample_key("reviewer")
_KNOWN = known(_TECHNICIAN, _REVIEWER)
_WHOLE = signed_by(fit_record(), _TECHNICIAN, _REVIEWER)


def _prove(data: bytes) -> Proof:
    return prove(data, trusted=_KNOWN, at=SIGNED_AT)


def _line(data: bytes, number: int) -> bytes:
    return MARKER + data.split(MARKER)[number]


def _forged(
    data: bytes,
    *,
    payload: Callable[[dict[str, object]], object] = lambda plain: plain,
    spelled: Callable[[bytes], bytes] = lambda text: text,
    key: SigningKey = _TECHNICIAN,
) -> bytes:
    """Sign the page anew with a real key, after the payload was tampered with: an attacker within."""
    seal = examine(data).seals[0]
    text = spelled(canonical(payload(msgspec.to_builtins(seal.payload))))
    header = canonical(
        {
            "alg": "Ed25519",
            "jwk": msgspec.to_builtins(key.public),
            "kid": key.card.thumbprint,
            "typ": "handback-signature",
        }
    )
    signed = f"{encode(header)}.{encode(text)}"
    seed = decode(str(key.for_signing().as_dict(private=True)["d"]))
    signature = encode(Ed25519PrivateKey.from_private_bytes(seed).sign(signed.encode()))
    return data[: seal.starts] + MARKER + f"{signed}.{signature}-->\n".encode()


# What holds


def test_a_whole_report_says_who_when_what() -> None:
    proof = _prove(_WHOLE)
    assert [(signer.order, signer.role, signer.name, signer.time) for signer in proof.signers] == [
        (1, "technician", "Sample Technician", "2026-03-10T12:10:00Z"),
        (2, "reviewer", "Sample Reviewer", "2026-03-10T12:15:00Z"),
    ]
    assert (proof.ticket, proof.outcome, proof.complete, proof.released) == (
        "TW-1042",
        Outcome.FIT,
        True,
        True,
    )
    assert proof.missing == ()
    assert proof.record == fit_record()


def test_a_held_report_is_whole_and_not_released() -> None:
    proof = _prove(signed_by(held_record(), _TECHNICIAN, _REVIEWER))
    assert (proof.outcome, proof.complete, proof.released) == (Outcome.HELD, True, False)


@pytest.mark.parametrize(
    ("change", "released"),
    [
        ({}, True),
        ({"outcome": Outcome.FIT_UNDER_CONCESSION}, False),
        ({"outcome": Outcome.HELD}, False),
        ({"outcome": Outcome.RETURNED_UNREPAIRED}, False),
        ({"simulated": True}, False),
        ({"scripted": True}, False),
        ({"practice": True}, False),
    ],
    ids=["fit", "concession", "held", "unrepaired", "simulated", "scripted", "practice"],
)
def test_only_a_fit_real_run_is_released(change: dict[str, object], released: bool) -> None:  # noqa: FBT001 - a table
    record = msgspec.structs.replace(fit_record(), **change)
    assert _prove(signed_by(record, _TECHNICIAN, _REVIEWER)).released is released


@pytest.mark.parametrize(
    ("record", "doubts"),
    [
        (conceded_record(), []),
        (msgspec.structs.replace(conceded_record(), outcome=Outcome.FIT), ["The record says fit;"]),
        (
            msgspec.structs.replace(held_record(), outcome=Outcome.FIT_UNDER_CONCESSION),
            ["The record says fit under concession;"],
        ),
        (returned_record(), []),
    ],
    ids=["conceded", "conceded, called fit", "nobody accepted it", "returned"],
)
def test_an_outcome_that_the_record_did_not_earn_is_doubted(record: Record, doubts: list[str]) -> None:
    proof = _prove(signed_by(record, _TECHNICIAN, _REVIEWER))
    assert [doubt.partition(" its own")[0] for doubt in proof.doubts] == doubts
    assert not proof.released


def test_practice_says_so_in_the_proof() -> None:
    proof = _prove(signed_by(practice_record(), _TECHNICIAN, _REVIEWER))
    assert proof.practice
    assert "practice" in proof.notes[0]


def test_a_simulation_says_so_in_the_proof() -> None:
    record = msgspec.structs.replace(fit_record(), simulated=True, scripted=True)
    proof = _prove(signed_by(record, _TECHNICIAN, _REVIEWER))
    assert proof.simulated
    assert proof.scripted
    assert "simulation" in proof.notes[0]
    assert "script" in proof.notes[1]


def test_a_signature_from_the_future_is_remarked_on() -> None:
    notes = _prove(_WHOLE).notes  # the second signer signs five minutes after "now"
    assert [note for note in notes if "future" in note] == [
        "Sample Reviewer's signing time lies in the future: one of the two clocks is wrong."
    ]


# A known signer whose client is not this tool as it is


def _signed_page(page: bytes) -> bytes:
    for key in (_TECHNICIAN, _REVIEWER):
        page = sign_page(page, key=key, at=SIGNED_AT)
    return page


@pytest.mark.parametrize(
    ("record", "old", "new"),
    [
        (held_record(), b"<h1>Not ready</h1>", b"<h1>Ready</h1>"),
        (fit_record(), b"FN15-000142</bdi></dd>", b"FN15-000143</bdi></dd>"),
        (fit_record(), b"</style>", b".weighty { display: none; }</style>"),
        (fit_record(), b"<main>", b"<main><p>And a new screen.</p>"),
    ],
    ids=["headline", "serial number", "hidden by style", "promise added"],
)
def test_a_page_that_shows_other_than_its_record_is_doubted_and_not_released(
    record: Record, old: bytes, new: bytes
) -> None:
    page = render(record)
    assert old in page
    proof = _prove(_signed_page(page.replace(old, new, 1)))
    assert "Believe what is said here" in proof.doubts[0]
    assert proof.complete
    assert not proof.released


def test_names_in_another_order_than_the_records_raise_no_doubt() -> None:
    machine = {"system": "x", "maker": "Fennel", "board": "y"}  # a run keeps them as it met them
    record = msgspec.structs.replace(fit_record(), machine=machine)
    proof = _prove(signed_by(record, _TECHNICIAN, _REVIEWER))
    assert (proof.doubts, proof.released) == ((), True)


def test_a_page_of_another_version_is_told_as_not_compared() -> None:
    record = msgspec.structs.replace(fit_record(), tool="handback 0.0.1")
    proof = _prove(_signed_page(render(record).replace(b"<h1>Ready", b"<h1>Fit", 1)))
    assert proof.doubts == ()
    assert any("handback 0.0.1" in note and "not compared" in note for note in proof.notes)
    assert not any("not compared" in note for note in _prove(_WHOLE).notes)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"results": held_record().results}, "claimed-capacity: not good."),
        ({"results": ()}, "nothing to check"),
        (
            {"hazards": (HazardSeen(at="2026-03-10T09:00:00Z", what="It bulged."),)},
            "Not made safe: It bulged.",
        ),
    ],
    ids=["a check not good", "no check", "hazard open"],
)
def test_a_record_whose_checks_do_not_give_its_outcome_is_doubted_and_not_released(
    change: dict[str, object], reason: str
) -> None:
    proof = _prove(_signed_page(render(msgspec.structs.replace(fit_record(), **change))))
    assert [reason in doubt for doubt in proof.doubts] == [True]
    assert not proof.released


def test_a_known_signer_cannot_break_the_proof_with_figures_of_which_no_page_can_be_made() -> None:
    huge = Reading(value=1e308, unit=Unit.ONE, standard_uncertainty=1e308, source="nowhere")
    results = tuple(
        msgspec.structs.replace(
            result, attempts=(msgspec.structs.replace(result.attempts[-1], readings=(huge,)),)
        )
        if result.check == "claimed-capacity"
        else result
        for result in fit_record().results
    )
    record = msgspec.structs.replace(fit_record(), results=results)
    plain = record_bytes(fit_record())
    page = render(fit_record()).replace(escape_record(plain), escape_record(record_bytes(record)))
    proof = _prove(_signed_page(page))
    assert len(proof.doubts) == 1
    assert not proof.released


def test_two_signers_of_one_name_are_remarked_on() -> None:
    keys = (sample_key("technician", "Sample Person"), sample_key("reviewer", "Sample Person"))
    notes = prove(signed_by(fit_record(), *keys), trusted=known(*keys)).notes
    assert [note for note in notes if "two people" in note] == [
        "More than one signer is called Sample Person: see that they are two people."
    ]
    assert not any("two people" in note for note in _prove(_WHOLE).notes)


# What was cut off, moved or added


def test_last_signature_cut_off_is_incomplete_and_not_released() -> None:
    proof = _prove(_WHOLE[: _WHOLE.rindex(MARKER)])
    assert (proof.complete, proof.released, proof.missing) == (False, False, ("reviewer",))
    assert "reviewer" in proof.notes[0]


def test_first_signature_cut_off_is_altered() -> None:
    with pytest.raises(AlteredError):
        _prove(_WHOLE.replace(_line(_WHOLE, 1), b""))


def test_signatures_in_the_other_order_are_altered() -> None:
    page = _WHOLE[: _WHOLE.index(MARKER)]
    with pytest.raises(AlteredError):
        _prove(page + _line(_WHOLE, 2) + _line(_WHOLE, 1))


def test_signature_moved_from_another_report_is_altered() -> None:
    other = signed_by(held_record(), _TECHNICIAN)
    page = render(fit_record())
    with pytest.raises(AlteredError, match=r"does not belong to this page\. It was made for ticket TW-1057"):
        _prove(page + _line(other, 1))


def test_signature_doubled_is_altered() -> None:
    with pytest.raises(AlteredError):
        _prove(_WHOLE + _line(_WHOLE, 2))


@pytest.mark.parametrize(
    "tail", [b"\n", b" ", b"<p>Ready</p>\n", b"\0", b"<!--handback-signature a.b.c-->\n"]
)
def test_anything_after_the_last_signature_is_altered(tail: bytes) -> None:
    with pytest.raises(AlteredError):
        _prove(_WHOLE + tail)


def test_a_second_marker_inside_the_page_is_altered() -> None:
    with pytest.raises(AlteredError):
        _prove(_WHOLE.replace(b"<main>", b"<main>" + MARKER + b"-->\n", 1))


def test_a_flood_of_signatures_is_refused_before_work_is_spent() -> None:
    with pytest.raises(AlteredError, match="more than"):
        _prove(_WHOLE + _line(_WHOLE, 2) * 20)


def test_the_end_of_the_page_cut_off_is_altered() -> None:
    with pytest.raises(AlteredError, match="no whole report page"):
        _prove(_WHOLE.replace(b"</html>\n", b"</html>", 1))


@pytest.mark.parametrize(
    "data", [b"", b"<html></html>\n", render(fit_record())], ids=["empty", "page", "unsigned"]
)
def test_what_was_never_signed_is_not_a_report(data: bytes) -> None:
    with pytest.raises(NotAReportError):
        _prove(data)


def test_a_whole_report_is_read_once_for_the_proof_and_for_its_page(monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []
    real = canonical_module.require_canonical

    def counting(data: bytes, what: str) -> None:
        read.append(what)
        real(data, what)

    monkeypatch.setattr(canonical_module, "require_canonical", counting)
    canonical_module._record_from.cache_clear()
    assert _prove(_WHOLE).doubts == ()
    assert read == ["The record"]


# Where the change is


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        (b"<title>TW-1042", b"<title>TW-1043", "head"),
        (b"<h1>Ready</h1>", b"<h1>Ready!</h1>", "owner"),
        (b'"outcome":"fit"', b'"outcome":"fix"', "record kept"),
        (b"End of", b"end of", "foot"),
        (b"<!--part technician-->", b"", "parts are not the ones"),
    ],
    ids=["title", "headline", "record", "foot", "a part's mark"],
)
def test_the_changed_part_is_named(old: bytes, new: bytes, where: str) -> None:
    assert old in _WHOLE
    data = _WHOLE.replace(old, new, 1)
    with pytest.raises(AlteredError, match=where):
        _prove(data)


def test_text_hidden_by_style_is_named_as_a_change_of_the_head() -> None:
    with pytest.raises(AlteredError, match="style"):
        _prove(_WHOLE.replace(b"</style>", b".weighty { display: none; }</style>", 1))


def test_an_edited_number_in_the_technicians_part_is_named() -> None:
    start = _WHOLE.index(b"<!--part technician-->")
    figure = re.compile(rb">[^<>]*?55(\.1)").search(_WHOLE, start)
    assert figure is not None
    with pytest.raises(AlteredError, match="technician's part"):
        _prove(_WHOLE[: figure.start(1)] + b".9" + _WHOLE[figure.end(1) :])


def test_a_changed_first_signature_breaks_the_second() -> None:
    record = fit_record()
    other = signed_by(record, sample_key("technician", "Somebody Else"))
    page = _WHOLE[: _WHOLE.index(MARKER)]
    with pytest.raises(AlteredError, match=r"Sample Reviewer.*signatures before"):
        _prove(page + _line(other, 1) + _line(_WHOLE, 2))


def test_of_two_signatures_one_broken_the_whole_is_altered() -> None:
    at = _WHOLE.rindex(b"-->") - 20
    broken = _WHOLE[:at] + (b"A" if _WHOLE[at : at + 1] != b"A" else b"B") + _WHOLE[at + 1 :]
    with pytest.raises(AlteredError):
        _prove(broken)


# An attacker who holds a real key and lies in the payload


def test_the_forger_without_a_lie_makes_a_report_that_holds() -> None:
    assert _prove(_forged(signed_by(fit_record(), _TECHNICIAN))).ticket == "TW-1042"


def _with(**changes: object) -> Callable[[dict[str, object]], object]:
    return lambda plain: {**plain, **changes}


@pytest.mark.parametrize(
    ("lie", "match"),
    [
        (_with(ticket="TW-9999"), "ticket"),
        (_with(outcome="held"), "outcome"),
        (_with(simulated=True), "simulation"),
        (_with(scripted=True), "script"),
        (_with(order=2), "order"),
        (_with(record_sha256="0" * 64), "record"),
        (_with(journal_head="0" * 64), "journal"),
        (_with(journal_count=1), "journal"),
        (_with(length=1), "changed after"),
        (_with(sha256="0" * 64), "changed after"),
        (_with(sha256=hashlib.sha256(b"").hexdigest(), length=0), "changed after"),
        (_with(parts={}), "parts"),
        (_with(format="signature/2"), "signature/2"),
        (_with(format="record/1"), "record/1"),
        (_with(name="\x1b[2J"), "not a report's"),
        (
            _with(time="2026-03-10T12:10:00Z). Released: fit, and signed by all who have to. ("),
            "not a report's",
        ),
        (_with(time="long ago"), "not a report's"),
        (_with(later="field"), "not a report's"),
        (_with(order=1.5), "not a report's"),
        (_with(outcome="perfect"), "not a report's"),
        (lambda plain: {name: plain[name] for name in plain if name != "sha256"}, "not a report's"),
        (lambda plain: [plain], "not a report's"),
    ],
    ids=[
        "ticket",
        "outcome",
        "simulated",
        "scripted",
        "order",
        "record hash",
        "journal head",
        "journal count",
        "length",
        "hash",
        "hash of nothing",
        "no parts",
        "later format",
        "other kind",
        "control characters in the name",
        "a sentence in the time",
        "no time",
        "extra member",
        "order that is no number of a line",
        "unknown outcome",
        "missing hash",
        "list",
    ],
)
def test_a_payload_that_lies_is_altered(lie: Callable[[dict[str, object]], object], match: str) -> None:
    with pytest.raises(AlteredError, match=match):
        _prove(_forged(signed_by(fit_record(), _TECHNICIAN), payload=lie))


@pytest.mark.parametrize(
    "spelled",
    [
        lambda text: text.replace(b":", b": ", 1),
        lambda text: text.replace(b"{", b'{"clock_note":"",', 1),
        lambda text: json.dumps(dict(reversed(json.loads(text).items())), separators=(",", ":")).encode(),
        lambda text: text + b"\n",
        lambda text: text.replace(b'"order":1,', b'"order":1.0,'),
        lambda text: b"\xff" + text,
        lambda _: b"",
        lambda _: b"[" * 100_000,
    ],
    ids=["space", "doubled name", "order of names", "line feed", "1.0", "not UTF-8", "nothing", "bottomless"],
)
def test_a_payload_that_is_not_canonical_is_altered(spelled: Callable[[bytes], bytes]) -> None:
    with pytest.raises(AlteredError):
        _prove(_forged(signed_by(fit_record(), _TECHNICIAN), spelled=spelled))


def test_a_simulation_dressed_as_real_is_altered() -> None:
    simulated = msgspec.structs.replace(fit_record(), simulated=True)
    dressed = signed_by(simulated, _TECHNICIAN).replace(b'"simulated":true', b'"simulated":false', 1)
    with pytest.raises(AlteredError, match="record kept"):
        _prove(dressed)
    # The same with a signature of the attacker's own over the edited page: then the key gives it away.
    attacker = sample_key("technician", "Attacker")
    with pytest.raises(KeyNotTrustedError, match="not known"):
        _prove(signed_by(fit_record(), attacker))


def test_a_page_without_a_record_signed_by_a_known_key_is_not_a_report() -> None:
    page = b"<!DOCTYPE html>\n<p>Ready</p>\n</html>\n"
    plain = msgspec.to_builtins(examine(_WHOLE).seals[0].payload)
    digest = hashlib.sha256(page).hexdigest()
    plain |= {"length": len(page), "sha256": digest, "parts": {"head": digest}}
    whole = signed_by(fit_record(), _TECHNICIAN)
    line = _forged(whole, payload=lambda _: plain)[examine(whole).seals[0].starts :]
    with pytest.raises(NotAReportError):
        _prove(page + line)


# Keys


def test_an_unknown_key_is_named_by_its_thumbprint() -> None:
    stranger = sample_key("technician", "Stranger")
    with pytest.raises(KeyNotTrustedError, match=stranger.card.thumbprint):
        _prove(signed_by(fit_record(), stranger))


def test_an_unknown_second_signer_is_not_covered_by_a_known_first_one() -> None:
    with pytest.raises(KeyNotTrustedError, match="not known"):
        prove(_WHOLE, trusted=known(_TECHNICIAN))


def test_a_revoked_key_is_refused_whatever_time_the_signature_claims() -> None:
    revoked = known(_TECHNICIAN, revoked_at="2099-01-01T00:00:00Z")
    with pytest.raises(KeyNotTrustedError, match="revoked on 2099-01-01"):
        prove(_WHOLE, trusted=(*revoked, *known(_REVIEWER)))


def test_a_key_listed_as_known_and_as_revoked_is_revoked() -> None:
    revoked = known(_TECHNICIAN, revoked_at="2026-03-09T00:00:00Z")
    for trusted in ((*_KNOWN, *revoked), (*revoked, *_KNOWN)):
        with pytest.raises(KeyNotTrustedError, match="revoked"):
            prove(_WHOLE, trusted=trusted)


def test_the_demo_key_proves_nothing_even_where_somebody_trusts_it() -> None:
    demo = (demo_signing_key("technician"), demo_signing_key("reviewer"))
    with pytest.raises(KeyNotTrustedError, match="published demo key: that proves nothing about who"):
        prove(signed_by(fit_record(), *demo), trusted=known(*demo))


def test_a_demo_key_beside_a_known_one_spoils_the_proof() -> None:
    data = signed_by(fit_record(), _TECHNICIAN, demo_signing_key("reviewer"))
    with pytest.raises(KeyNotTrustedError, match="demo"):
        _prove(data)


def test_a_known_key_under_another_name_is_refused() -> None:
    impostor = SigningKey(
        decode(str(_TECHNICIAN.for_signing().as_dict(private=True)["d"])), name="The Boss", role="technician"
    )
    with pytest.raises(KeyNotTrustedError, match="known as Sample Technician"):
        _prove(signed_by(fit_record(), impostor))


def test_a_known_key_for_another_role_is_refused() -> None:
    impostor = SigningKey(
        decode(str(_REVIEWER.for_signing().as_dict(private=True)["d"])),
        name="Sample Reviewer",
        role="technician",
    )
    with pytest.raises(KeyNotTrustedError, match="reviewer"):
        _prove(signed_by(fit_record(), impostor))


def test_nobody_known_proves_nothing() -> None:
    with pytest.raises(KeyNotTrustedError):
        prove(_WHOLE, trusted=())


# Signers that the record does not ask for


def _signed_past_the_rules(record: Record, *keys: SigningKey) -> bytes:
    """Sign without asking who is due: a page whose record asked for these keys, with the record swapped."""
    data = render(record)
    for order, key in enumerate(keys, start=1):
        before = examine(signed_by(fit_record(), _TECHNICIAN)).seals[0].payload
        parts = {name: hashlib.sha256(part).hexdigest() for name, part in _parts(data).items()}
        payload = msgspec.structs.replace(
            before,
            order=order,
            role=key.card.role,
            name=key.card.name,
            length=len(data),
            sha256=hashlib.sha256(data).hexdigest(),
            record_sha256=hashlib.sha256(canonical(record)).hexdigest(),
            parts=parts,
        )
        data += _sealed(payload, key)
    return data


def _parts(data: bytes) -> dict[str, bytes]:
    from verify.record.page import parts_of

    end = data.find(MARKER)
    return parts_of(data if end < 0 else data[:end])


def _sealed(payload: Payload, key: SigningKey) -> bytes:
    from verify.record.seal import seal_line

    return seal_line(payload, key)


@pytest.mark.parametrize(
    ("signers", "keys", "match"),
    [
        (("technician", "reviewer"), (_REVIEWER,), "should be the technician's"),
        (("technician", "technician"), (_TECHNICIAN, _TECHNICIAN), "twice"),
        (("technician",), (_TECHNICIAN, _REVIEWER), "more than the record asks for"),
        ((), (_TECHNICIAN,), "more than the record asks for"),
    ],
    ids=["out of turn", "one key twice", "one too many", "nobody asked"],
)
def test_signers_that_the_record_does_not_ask_for_are_refused(
    signers: tuple[str, ...], keys: tuple[SigningKey, ...], match: str
) -> None:
    asked = tuple(RequiredSigner(order=order, role=role) for order, role in enumerate(signers, start=1))
    record = msgspec.structs.replace(fit_record(), signers=asked)
    with pytest.raises(AlteredError, match=match):
        _prove(_signed_past_the_rules(record, *keys))


def test_another_key_than_the_record_names_is_refused() -> None:
    named = RequiredSigner(order=1, role="technician", thumbprint=_REVIEWER.card.thumbprint)
    record = msgspec.structs.replace(fit_record(), signers=(named,))
    with pytest.raises(AlteredError, match="key that the record names"):
        _prove(_signed_past_the_rules(record, _TECHNICIAN))


def test_a_record_of_a_later_version_is_refused_by_name_not_misread() -> None:
    record = fit_record()
    later = render(record).replace(b'"format":"record/1"', b'"format":"record/2"', 1)
    digest = hashlib.sha256(later).hexdigest()
    payload = msgspec.structs.replace(
        examine(signed_by(record, _TECHNICIAN)).seals[0].payload,
        length=len(later),
        sha256=digest,
        parts={name: hashlib.sha256(part).hexdigest() for name, part in _parts(later).items()},
    )
    with pytest.raises(ProofError, match="record/2"):
        _prove(later + _sealed(payload, _TECHNICIAN))
