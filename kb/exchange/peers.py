"""What was given to whom, what was looked at, whose key is trusted? One small file in the home folder.

Nothing in it is a fact of the book: lost, it only means that more is sent again and asked again.
"""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from kb import text
from kb.errors import BadInput, BookTrouble, ascii_controls, described
from kb.given import open_plain
from kb.settings import SHARE as FILE
from kb.store.peek import Standing
from kb.visit import read_id
from kb.whole import write_mine

_MOST: Final = 64 * 1024 * 1024
_KEY_BYTES: Final = 32
_SIGN: Final = 1 << 255
_PRIME: Final = 2**255 - 19  # the field of edwards25519, RFC 8032, 5.1
_EIGHT: Final = 0x05FC536D880238B13933C6D305ACDFD5F098EFF289F4C345B027B2C28F95E826
#: y of the points of order 1, 2, 4 and 8; a test computes them from the curve.
SMALL: Final = frozenset({0, 1, _PRIME - 1, _EIGHT, _PRIME - _EIGHT})


@dataclass(slots=True)
class Peer:
    """One colleague or shared book: how our book stood when it was last given from, and what was held back;
    how theirs stood when it was last taken from."""

    given: Standing | None = None
    taken: Standing | None = None
    held: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Peers:
    """All of the file."""

    peers: dict[str, Peer] = field(default_factory=dict)
    approved: list[str] = field(default_factory=list)
    """Visits whose marks, settings or items look personal and were found harmless."""
    declined: list[str] = field(default_factory=list)
    """Notes that are to stay here, as VISIT or VISIT.JACK."""
    trusted: dict[str, str] = field(default_factory=dict)
    """Name of a colleague -> key, base64."""

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
            {text.line(name, "peer"): _peer(one) for name, one in data["peers"].items()},
            [read_id(one, "approved") for one in data["approved"]],
            [str(one) for one in data["declined"]],
            {text.line(name, "name"): read_key(key) for name, key in data["trusted"].items()},
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
        standing(data["given"]), standing(data["taken"]), [read_id(one, "held") for one in data["held"]]
    )


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


def save(home: Path, peers: Peers) -> None:
    """Write the file, whole or not at all, for this user alone."""

    def standing(one: Standing | None) -> list[Any] | None:
        return None if one is None else list(one)

    data = {
        "peers": {
            name: {"given": standing(one.given), "taken": standing(one.taken), "held": one.held}
            for name, one in peers.peers.items()
        },
        "approved": sorted(set(peers.approved)),
        "declined": sorted(set(peers.declined)),
        "trusted": peers.trusted,
    }
    write_private(home / FILE, json.dumps(data, indent=1).encode())


def write_private(path: Path, content: bytes) -> None:
    """Write a file that only this user reads, whole or not at all; raises BookTrouble."""
    try:
        write_mine(path, content)
    except OSError as trouble:
        raise BookTrouble(f"{path}: {ascii_controls(trouble.strerror or str(trouble))}") from trouble
