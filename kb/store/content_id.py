"""Make the id of a fact from its content, and check it.

The id of a fact is made from its own words (UUID version 8, RFC 9562: 122 bits of SHA-256). So nobody can put
other words under a known id, and merging books never have to choose.

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

NONCE: Final = 16  #: bytes; two visits with the same words are two visits
_VERSION: Final = 8
_VERSION_AT, _VARIANT_AT = 76, 62  # bits from the right, RFC 9562 section 4


def sealed_id(kind: str, said: Any, nonce: str = "") -> str:
    """Return the id of a fact of this kind with this content (plain JSON values)."""
    text = json.dumps(
        ["jackfield", kind, nonce, said], sort_keys=True, ensure_ascii=False, separators=(",", ":")
    )
    bits = int.from_bytes(hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()[:16], "big")
    bits = bits & ~(0xF << _VERSION_AT) | _VERSION << _VERSION_AT
    bits = bits & ~(0b11 << _VARIANT_AT) | 0b10 << _VARIANT_AT
    return str(UUID(int=bits))


def reentry_nonce(earlier: str) -> str:
    """Return the nonce for entering again a visit that was supplied with the id ``earlier``.

    It is the same in every book that has the visit, and so is the id that is made with it.
    """
    return hashlib.sha256(f"jackfield {earlier}".encode()).hexdigest()[: 2 * NONCE]


def is_sealed(fact: str) -> bool:
    """Return whether it is an id of this kind, which no file may invent."""
    return fact[14:15] == str(_VERSION)


def visit_id(visit: Visit, nonce: str) -> str:
    """Return the id of a visit: made from its shareable content, never from private words."""
    return sealed_id("visit", visit_to(replace(without_private(visit), id="")), nonce)


def sealed(visit: Visit, nonce: str = "") -> tuple[Visit, str]:
    """Return the visit with an id of its own, and the nonce (hex) in it; a new one unless given."""
    nonce = nonce or secrets.token_hex(NONCE)
    return replace(visit, id=visit_id(visit, nonce)), nonce


def without_private(visit: Visit) -> Visit:
    """Return the shareable part of a visit: no person, job, driver's name or free text."""
    bare = kinds.without_private(visit)
    return replace(bare, findings=tuple(kinds.without_private(finding) for finding in visit.findings))
