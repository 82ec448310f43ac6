"""Signatures against RFC 8032, RFC 8037 and two JOSE libraries; every spelling but one is refused."""

import base64
import json

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from verify.record import jws
from verify.record.base64url import decode, encode
from verify.record.keys import PublicKey, SigningKey
from verify.testing.sample_signatures import sample_key
from verify.values.errors import AlteredError, InvalidValueError

# RFC 8032 7.1 TEST 1; RFC 8037 appendix A uses the same key.
_SEED = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
_PUBLIC = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
_KEY = SigningKey(_SEED, name="Vector", role="technician")


def test_rfc_8032_test_1_gives_the_published_key_and_signature() -> None:
    assert decode(_KEY.public.x) == _PUBLIC
    assert Ed25519PrivateKey.from_private_bytes(_SEED).sign(b"").hex() == (
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
        "d25bf5f0595bbe24655141438e7a100b"
    )


def test_rfc_8037_a_2_public_key_and_a_3_thumbprint() -> None:
    assert _KEY.public.x == "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
    assert _KEY.public.thumbprint == "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"


def test_rfc_8037_a_4_signature_is_made_by_the_same_key_and_library() -> None:
    from joserfc import jws as library
    from joserfc.errors import SecurityWarning

    with pytest.warns(SecurityWarning, match="RFC 9864"):
        text = library.serialize_compact(
            {"alg": "EdDSA"}, b"Example of Ed25519 signing", _KEY.for_signing(), algorithms=["EdDSA"]
        )
    assert text == (
        "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc.hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dW"
        "bhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    )
    # The name of RFC 8037 is deprecated by RFC 9864: ours reads only the new one.
    with pytest.raises(AlteredError):
        jws.read(text)


def test_a_second_library_verifies_what_we_sign() -> None:
    from jwcrypto import jwk
    from jwcrypto import jws as second

    key = sample_key("technician")
    token = second.JWS()
    token.allowed_algs = ["Ed25519"]
    token.deserialize(jws.write(b"bytes", key), jwk.JWK.from_json(msgspec.json.encode(key.public).decode()))
    assert token.payload == b"bytes"


def test_we_verify_what_a_second_library_signs() -> None:
    from jwcrypto import jwk
    from jwcrypto import jws as second

    key = sample_key("technician")
    private = {**msgspec.to_builtins(key.public), "d": key.for_signing().as_dict(private=True)["d"]}
    header = {
        "alg": "Ed25519",
        "jwk": msgspec.to_builtins(key.public),
        "kid": key.public.thumbprint,
        "typ": "handback-signature",
    }
    token = second.JWS(b"bytes")
    token.allowed_algs = ["Ed25519"]
    token.add_signature(
        jwk.JWK(**private), protected=json.dumps(header, separators=(",", ":"), sort_keys=True)
    )
    assert jws.read(token.serialize(compact=True)) == jws.Signed(key=key.public, payload=b"bytes")


def _made(header: object, payload: bytes = b"bytes", key: SigningKey | None = None) -> str:
    """Sign any header at all, honestly: only the header's content is wrong."""
    text = header if isinstance(header, str) else json.dumps(header, separators=(",", ":"), sort_keys=True)
    signed = f"{encode(text.encode())}.{encode(payload)}"
    seed = decode(str((key or _KEY).for_signing().as_dict(private=True)["d"]))
    signature = Ed25519PrivateKey.from_private_bytes(seed).sign(signed.encode())
    return f"{signed}.{encode(signature)}"


_HEADER: dict[str, object] = {
    "alg": "Ed25519",
    "jwk": msgspec.to_builtins(_KEY.public),
    "kid": _KEY.public.thumbprint,
    "typ": "handback-signature",
}
_OTHER = sample_key("reviewer").public


def test_the_maker_of_bad_headers_makes_a_good_one_too() -> None:
    assert jws.read(_made(_HEADER)).payload == b"bytes"


@pytest.mark.parametrize(
    "header",
    [
        {**_HEADER, "alg": "none"},
        {**_HEADER, "alg": "EdDSA"},
        {**_HEADER, "alg": "HS256"},
        {**_HEADER, "crit": ["b64"], "b64": False},
        {**_HEADER, "extra": 1},
        {name: value for name, value in _HEADER.items() if name != "typ"},
        {name: value for name, value in _HEADER.items() if name != "jwk"},
        {**_HEADER, "typ": "JWT"},
        {**_HEADER, "kid": _OTHER.thumbprint},
        {**_HEADER, "jwk": msgspec.to_builtins(_OTHER), "kid": _OTHER.thumbprint},
        {**_HEADER, "jwk": {**msgspec.to_builtins(_KEY.public), "d": "AA"}},
        {**_HEADER, "jwk": {"crv": "Ed25519", "kty": "OKP", "x": "AA"}},
        {**_HEADER, "jwk": {"crv": "X25519", "kty": "OKP", "x": _KEY.public.x}},
        json.dumps(_HEADER, sort_keys=True),
        json.dumps(_HEADER, separators=(",", ":"), sort_keys=True).replace("{", '{"alg":"Ed25519",', 1),
        "{",
        "[]",
    ],
    ids=[
        "alg none",
        "alg of RFC 8037",
        "alg of a shared secret",
        "critical extension",
        "extra member",
        "no typ",
        "no key",
        "other typ",
        "kid of another key",
        "another key altogether",
        "private member in the key",
        "short key",
        "key for another use",
        "spaces",
        "doubled name",
        "cut off",
        "list",
    ],
)
def test_a_header_that_is_not_ours_is_refused(header: object) -> None:
    with pytest.raises(AlteredError):
        jws.read(_made(header))


def test_spare_bits_of_the_last_character_cannot_be_changed() -> None:
    text = jws.write(b"bytes", _KEY)
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    other = text[:-1] + alphabet[alphabet.index(text[-1]) + 1]
    lax = [base64.urlsafe_b64decode(piece.split(".")[2] + "==") for piece in (text, other)]
    assert lax[0] == lax[1]  # a lax decoder sees no difference
    with pytest.raises(AlteredError):
        jws.read(other)


@pytest.mark.parametrize("text", ["QQ==", "QR", "Q", "Q Q", "Q\n", "+/", "é"])
def test_base64url_has_one_spelling(text: str) -> None:
    with pytest.raises(InvalidValueError):
        decode(text)


@pytest.mark.parametrize(
    "text",
    ["", ".", "..", "a.b", "a.b.c.d", "....", f"{jws.write(b'x', _KEY)}."],
    ids=["nothing", "one dot", "two dots", "two", "four", "five", "dot after"],
)
def test_what_is_not_in_three_pieces_is_refused(text: str) -> None:
    with pytest.raises(AlteredError):
        jws.read(text)


def test_a_signature_with_its_order_added_is_refused() -> None:
    # RFC 8032 5.1.7: S must be below the group's order, or one signature has two texts.
    order = 2**252 + 27742317777372353535851937790883648493
    head, payload, signature = jws.write(b"bytes", _KEY).split(".")
    raw = decode(signature)
    larger = int.from_bytes(raw[32:], "little") + order
    forged = encode(raw[:32] + larger.to_bytes(32, "little"))
    with pytest.raises(AlteredError):
        jws.read(f"{head}.{payload}.{forged}")


def test_an_all_zero_key_is_refused() -> None:
    # A point of small order: with it, one signature could fit many messages.
    zero = PublicKey(crv="Ed25519", kty="OKP", x=encode(bytes(32)))
    header = {**_HEADER, "jwk": msgspec.to_builtins(zero), "kid": zero.thumbprint}
    signed = (
        f"{encode(json.dumps(header, separators=(',', ':'), sort_keys=True).encode())}.{encode(b'bytes')}"
    )
    with pytest.raises(AlteredError):
        jws.read(f"{signed}.{encode(bytes(64))}")
