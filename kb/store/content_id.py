"""Make the id of a fact from its content, and check it.

The id of a fact is made from its own words (UUID version 8, RFC 9562: 122 bits of SHA-256), so that nobody
can put other words under an id that is known already, and books that merge never have to choose.

>>> one = sealed_id("alias", ["NORWEL/NV40", "NORWELL/NV40"])
>>> one == sealed_id("alias", ["NORWEL/NV40", "NORWELL/NV40"]), one[14]
(True, '8')
"""

from __future__ import annotations

import hashlib
import json
import secrets
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from kb.domain import kinds
from kb.domain.visit import visit_to

if TYPE_CHECKING:
    from kb.domain.visit import Visit

NONCE: Final = 16  #: bytes; two visits that say the same are two visits
_VERSION: Final = 8
_VERSION_AT, _VARIANT_AT = 76, 62  # bits from the right, RFC 9562 section 4


def sealed_id(kind: str, said: Any, nonce: str = "") -> str:
    """The id of a fact of this kind that says this (plain JSON values)."""
    text = json.dumps(
        ["jackfield", kind, nonce, said], sort_keys=True, ensure_ascii=False, separators=(",", ":")
    )
    bits = int.from_bytes(hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()[:16], "big")
    bits = bits & ~(0xF << _VERSION_AT) | _VERSION << _VERSION_AT
    bits = bits & ~(0b11 << _VARIANT_AT) | 0b10 << _VARIANT_AT
    return str(UUID(int=bits))


def nonce_of_entering_anew(earlier: str) -> str:
    """The nonce with which a visit that was handed in under the id ``earlier`` is entered again.

    It is the same in every book that has the visit, and so is the id that is made with it.
    """
    return hashlib.sha256(f"jackfield {earlier}".encode()).hexdigest()[: 2 * NONCE]


def is_sealed(fact: str) -> bool:
    """Is it an id of this kind, which no file may make up?"""
    return fact[14:15] == str(_VERSION)


def visit_id(visit: Visit, nonce: str) -> str:
    """The id of a visit: made from what may be shared of it, never from private words."""
    return sealed_id("visit", visit_to(replace(without_private(visit), id="")), nonce)


def sealed(visit: Visit, nonce: str = "") -> tuple[Visit, str]:
    """The visit with an id of its own, and the nonce (hex) that went into it; a fresh one unless given."""
    nonce = nonce or secrets.token_hex(NONCE)
    return replace(visit, id=visit_id(visit, nonce)), nonce


def without_private(visit: Visit) -> Visit:
    """What of a visit may be shared: no person, job, driver's name or free text."""
    bare = kinds.without_private(visit)
    return replace(bare, findings=tuple(kinds.without_private(finding) for finding in visit.findings))
