# Prove a report without Handback: python stranger.py report.html KNOWN_THUMBPRINT...
import hashlib
import json
import sys
from pathlib import Path

from jwcrypto import jwk, jws

data = Path(sys.argv[1]).read_bytes()
known = sys.argv[2:]  # as the shop tells them by another way than this file
marker, end = b"<!--handback-signature ", b"-->"
position = data.index(marker)
for number, line in enumerate(data[position:].splitlines(), start=1):
    if not (line.startswith(marker) and line.endswith(end)):
        sys.exit("Something else stands after the page.")
    token = jws.JWS()
    token.allowed_algs = ["Ed25519"]
    token.deserialize(line[len(marker) : -len(end)].decode("ascii"))
    key = jwk.JWK(**token.jose_header["jwk"])
    token.verify(key)
    signed = json.loads(token.payload)
    covered = data[: signed["length"]]
    if signed["length"] != position or hashlib.sha256(covered).hexdigest() != signed["sha256"]:
        sys.exit(f"Signature {number} is over other bytes.")
    if key.thumbprint() not in known:
        sys.exit(f"Signature {number} is by a key that I do not know: {key.thumbprint()}")
    told = [signed[name] for name in ("role", "name", "time", "ticket", "outcome")]
    told += [f"but {mark}: no acceptance" for mark in ("simulated", "scripted") if signed[mark]]
    sys.stdout.write(" ".join(told) + "\n")
    position += len(line) + 1
if position != len(data):
    sys.exit("The file does not end where its last signature does.")
