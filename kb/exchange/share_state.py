"""Keep what was given to whom, what was reviewed and whose keys are trusted, in one small file.

Nothing in it is a fact of the book. Lost, it means that more is sent again and asked again, that nobody's key
is trusted, and that unsigned bundles are taken until one is.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from kb.base import text
from kb.base.atomic import changing_files, write_mine
from kb.base.errors import BadInput, BookTrouble, ascii_controls, described
from kb.base.files import open_plain
from kb.domain.visit import read_id
from kb.settings import SHARE as FILE
from kb.store.revision import Standing

_MOST: Final = 64 * 1024 * 1024
_KEY_BYTES: Final = 32
_SIGN: Final = 1 << 255
_PRIME: Final = 2**255 - 19  # the field of edwards25519, RFC 8032, 5.1
_EIGHT: Final = 0x05FC536D880238B13933C6D305ACDFD5F098EFF289F4C345B027B2C28F95E826
#: y of the points of order 1, 2, 4 and 8; a test computes them from the curve.
SMALL: Final = frozenset({0, 1, _PRIME - 1, _EIGHT, _PRIME - _EIGHT})


@dataclass(slots=True)
class Peer:
    """One colleague or shared book."""

    given: Standing | None = None
    """How our book stood when it was last given from."""
    held: list[str] = field(default_factory=list)
    """Facts that were not given then: to be looked at again the next time."""
    taken: Standing | None = None
    """How their book stood when it wrote the last bundle of it that was taken in."""
    pulled: Standing | None = None
    """How the shared book stood when it was last pulled from."""
    left: list[str] = field(default_factory=list)
    """Facts that were not pulled then, as ``held``."""


@dataclass(slots=True)
class Peers:
    """All of the file."""

    peers: dict[str, Peer] = field(default_factory=dict)
    approved: list[str] = field(default_factory=list)
    """Visits whose marks, settings or items look personal and were found harmless."""
    held_again: list[str] = field(default_factory=list)
    """Visits that were approved once and are to stay here now; they may have left before."""
    declined: list[str] = field(default_factory=list)
    """Notes that are to stay here, as VISIT or VISIT.JACK."""
    trusted: dict[str, str] = field(default_factory=dict)
    """Name of a colleague -> key, base64."""
    signed_only: bool = False
    """Are bundles refused that no trusted key has signed? True from the first trusted key on, also when the
    keys are dropped, until somebody says otherwise."""

    def peer(self, name: str) -> Peer:
        """What is known of a peer."""
        return self.peers.setdefault(name, Peer())


def load(home: Path) -> Peers:
    """The file in ``home``; empty where there is none. Raises BadInput where it is none of ours."""
    path = home / FILE
    try:
        with open_plain(path, "file") as file:
            raw = file.read(_MOST + 1)
        if len(raw) > _MOST:
            raise BadInput("file", described("a larger file"), f"at most {_MOST} bytes")
        data = json.loads(raw.decode("utf-8"))
        return Peers(
            peers={text.line(name, "peer"): _peer(one) for name, one in data["peers"].items()},
            approved=[read_id(one, "approved") for one in data["approved"]],
            held_again=[read_id(one, "held_again") for one in data.get("held_again", ())],
            declined=[str(one) for one in data["declined"]],
            trusted={text.line(name, "name"): read_key(key) for name, key in data["trusted"].items()},
            signed_only=_flag(data.get("signed_only", bool(data["trusted"]))),  # older files do not say
        )
    except FileNotFoundError:
        return Peers()
    except OSError as trouble:
        raise BookTrouble(f"{path}: {ascii_controls(trouble.strerror or str(trouble))}") from trouble
    except BadInput as mistake:
        raise mistake.within(str(path)) from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as problem:
        raise BadInput(
            str(path), type(problem).__name__, "the file that `share` writes; remove it to begin anew"
        ) from None


def _peer(data: dict[str, Any]) -> Peer:
    def standing(value: Any) -> Standing | None:
        return (
            None
            if value is None
            else Standing(read_id(value[0], "book"), int(value[1]), read_id(value[2], "mark"))
        )

    return Peer(
        given=standing(data["given"]),
        held=[read_id(one, "held") for one in data["held"]],
        taken=standing(data["taken"]),
        pulled=standing(data.get("pulled")),  # older files have no such keys
        left=[read_id(one, "left") for one in data.get("left", ())],
    )


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise BadInput("signed_only", value, "true or false")
    return value


def read_key(value: object) -> str:
    """A public key, 32 bytes in base64, in its one spelling.

    Raises BadInput, also for a point of small order or a spelling that RFC 8032 (5.1.3) does not allow: under
    such a key anybody can make signatures that hold.
    """
    try:
        raw = base64.b64decode(value, validate=True) if isinstance(value, str) else b""
    except ValueError:
        raw = b""
    y = int.from_bytes(raw, "little") & ~_SIGN
    if len(raw) == _KEY_BYTES and y < _PRIME and y not in SMALL:
        return base64.b64encode(raw).decode()
    raise BadInput("key", value, "a public key: 32 bytes in base64")


@contextmanager
def changing(home: Path) -> Iterator[Peers]:
    """The file in ``home`` as it stands now; what the block makes of it is written at its end.

    Nobody else changes the file meanwhile, so the block must be short: no question, no book. What it raises
    leaves the file as it was. Raises as ``load``, and BookTrouble where the file cannot be written.
    """
    with changing_files(home):
        mine = load(home)
        before = _bytes(mine)
        yield mine
        if (after := _bytes(mine)) != before:
            write_private(home / FILE, after)


def _bytes(peers: Peers) -> bytes:
    def standing(one: Standing | None) -> list[Any] | None:
        return None if one is None else list(one)

    data = {
        "peers": {
            name: {
                "given": standing(one.given),
                "held": one.held,
                "taken": standing(one.taken),
                "pulled": standing(one.pulled),
                "left": one.left,
            }
            for name, one in peers.peers.items()
        },
        "approved": sorted(set(peers.approved)),
        "held_again": sorted(set(peers.held_again)),
        "declined": sorted(set(peers.declined)),
        "trusted": peers.trusted,
        "signed_only": peers.signed_only,
    }
    return json.dumps(data, indent=1).encode()


def write_private(path: Path, content: bytes) -> None:
    """Write a file that only this user reads, whole or not at all; raises BookTrouble."""
    try:
        write_mine(path, content)
    except OSError as trouble:
        raise BookTrouble(f"{path}: {ascii_controls(trouble.strerror or str(trouble))}") from trouble
