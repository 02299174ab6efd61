"""Sign bundles and check signatures: Ed25519 (RFC 8032) from the ``cryptography`` library.

The library comes with the extra ``jackfield[sign]`` and is loaded only for signing or checking.
"""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import TYPE_CHECKING, Final

from kb.base import text
from kb.base.atomic import changing_files, write_mine
from kb.base.errors import BadInput, BookTrouble, MissingExtra, trouble_at
from kb.base.files import open_plain
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.base.validation import Fields
from kb.exchange.share_state import read_key
from kb.settings import KEY as FILE

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

_MOST: Final = 4096


def own_key(home: Path, *, make: bool) -> Ed25519PrivateKey | None:
    """Return the key of this book; make it if ``make``. Raises BookTrouble if it cannot be read."""
    path = home / FILE
    if not path.exists() and not make:
        return None
    try:
        from cryptography.exceptions import UnsupportedAlgorithm
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
        from cryptography.hazmat.primitives.serialization import (
            Encoding,
            NoEncryption,
            PrivateFormat,
            load_pem_private_key,
        )
    except ImportError:
        raise MissingExtra("signing", "cryptography", "sign") from None
    if not path.exists():
        with changing_files(home):  # of two programs that make it at once, one does
            if not path.exists():
                fresh = Ed25519PrivateKey.generate()
                with trouble_at(path):
                    write_mine(path, fresh.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
                return fresh
    try:
        with open_plain(path, str(path)) as file:
            key = load_pem_private_key(file.read(_MOST), password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm, OSError) as problem:
        raise BookTrouble(Said("error/not-a-key", place=path)) from problem
    if not isinstance(key, Ed25519PrivateKey):
        raise BookTrouble(Said("error/other-key", place=path))
    return key


def public(key: Ed25519PrivateKey) -> str:
    """Return the public half, base64."""
    return base64.b64encode(key.public_key().public_bytes_raw()).decode()


def sign(key: Ed25519PrivateKey, said: bytes) -> dict[str, str]:
    """Return the signature for a header."""
    return {"key": public(key), "signature": base64.b64encode(key.sign(said)).decode()}


def signer(signature: object, said: bytes) -> str:
    """Return the public key that signed; raises BadInput if the signature is not valid."""
    place = "signature"
    given = Fields(signature, place, Said("expected/object-with", fields="key", last="signature"))
    key = given.need("key", lambda value, _: read_key(value))
    signed = given.need("signature", lambda value, at: text.line(value, at, 200))
    given.end()
    try:
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    except ImportError:
        raise MissingExtra("signing", "cryptography", "sign") from None
    try:
        mark = base64.b64decode(signed, validate=True)
        Ed25519PublicKey.from_public_bytes(base64.b64decode(key)).verify(mark, said)
    except (InvalidSignature, ValueError, TypeError):
        raise BadInput(place, Said("seen/invalid-signature"), Said("expected/signature-of-maker")) from None
    return key


def key_file(name: str, key: str) -> str:
    """Return the file for colleagues: a name and the public key."""
    return json.dumps({"jackfield": "key", "name": name, "ed25519": key}) + "\n"


def read_key_file(said: str, place: Wording) -> tuple[str, str]:
    """Return (name, key) of such a file; raises BadInput."""
    data = json_of(said[:_MOST], place)
    if not isinstance(data, dict) or data.get("jackfield") != "key":
        raise BadInput(place, Said("seen/something-else"), Said("expected/key-file"))
    given = Fields(data, place, Said("expected/object"))
    given.need("jackfield", lambda value, _: value)
    name = given.need("name", lambda value, at: text.line(value, at, 40, empty=False))
    key = given.need("ed25519", lambda value, _: read_key(value))
    given.end()
    return name, key
