"""Keep a record of sharing, reviews and trusted keys in one small file.

Nothing in it is a fact of the book. Without it, more is sent and asked again, nobody's key is trusted, and
unsigned bundles are accepted until a key is trusted.
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
from kb.base.errors import BadInput, BookTrouble, trouble_at, why_of
from kb.base.files import open_plain
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.base.validation import Fields, keyed, listed, truth, whole
from kb.domain.visit import read_id
from kb.settings import SHARE as FILE
from kb.store.revision import Standing

_MOST: Final = 64 * 1024 * 1024
_ENTRIES: Final = 10_000_000
_KEY_BYTES: Final = 32
_SIGN: Final = 1 << 255
_PRIME: Final = 2**255 - 19  # the field of edwards25519, RFC 8032, 5.1
_EIGHT: Final = 0x05FC536D880238B13933C6D305ACDFD5F098EFF289F4C345B027B2C28F95E826
#: y of the points of order 1, 2, 4 and 8; a test computes them from the curve.
SMALL: Final = frozenset({0, 1, _PRIME - 1, _EIGHT, _PRIME - _EIGHT})


@dataclass(slots=True)
class Peer:
    """Hold the sharing state of one colleague or shared book."""

    given: Standing | None = None
    """The state of our book when we last gave from it."""
    held: list[str] = field(default_factory=list)
    """Facts that were not given then: check them again next time."""
    taken: Standing | None = None
    """The state of their book when it wrote the last bundle that we took in."""
    pulled: Standing | None = None
    """The state of the shared book at the last pull."""
    left: list[str] = field(default_factory=list)
    """Facts that were not pulled then, as ``held``."""


@dataclass(slots=True)
class Peers:
    """Hold the content of the file."""

    peers: dict[str, Peer] = field(default_factory=dict)
    approved: list[str] = field(default_factory=list)
    """Visits whose marks, settings or items look personal and that a person found harmless."""
    held_again: list[str] = field(default_factory=list)
    """Visits that were approved once and are to stay here now; they may have left before."""
    declined: list[str] = field(default_factory=list)
    """Notes that are to stay here, as VISIT or VISIT.JACK."""
    trusted: dict[str, str] = field(default_factory=dict)
    """Name of a colleague -> key, base64."""
    signed_only: bool = False
    """Whether bundles without a trusted signature are refused.

    True from the first trusted key on, also after the keys are dropped, until the user changes it.
    """

    def peer(self, name: str) -> Peer:
        """Return the sharing state of a peer."""
        return self.peers.setdefault(name, Peer())


def load(home: Path) -> Peers:
    """Read the file in ``home``; empty if there is none. Raises BadInput if it is not one of ours."""
    path = home / FILE
    try:
        with open_plain(path, "file") as file:
            raw = file.read(_MOST + 1)
        if len(raw) > _MOST:
            raise BadInput("file", Said("seen/larger-file"), Said("expected/at-most-bytes", most=_MOST))
        return _peers_in(json_of(raw.decode("utf-8"), "JSON"))
    except FileNotFoundError:
        return Peers()
    except OSError as trouble:
        raise BookTrouble(Said("error/place-why", place=path, why=why_of(trouble))) from trouble
    except BadInput as mistake:
        raise mistake.within(str(path)) from None
    except UnicodeDecodeError:
        raise BadInput(str(path), Said("seen/not-utf-8"), _OURS) from None


_OURS: Final = Said("expected/share-file")
_ids: Final = listed(read_id, _ENTRIES)


def _peers_in(data: object) -> Peers:
    # What a later Jackfield may add is left alone, so the fields have no end.
    given = Fields(data, "share", _OURS, bare=True)
    trusted = given.need("trusted", keyed(_name, lambda value, _: read_key(value), _ENTRIES), _OURS)
    return Peers(
        peers=given.need("peers", keyed(_name, _peer, _ENTRIES), _OURS),
        approved=list(given.need("approved", _ids, _OURS)),
        held_again=list(given.take("held_again", _ids, ())),  # older files do not say
        declined=list(given.need("declined", listed(_name, _ENTRIES), _OURS)),
        trusted=trusted,
        signed_only=given.take("signed_only", truth, bool(trusted)),  # nor this
    )


def _peer(data: object, place: Wording) -> Peer:
    given = Fields(data, place, _OURS)
    return Peer(
        given=given.take("given", _standing, None),
        held=list(given.need("held", _ids, _OURS)),
        taken=given.take("taken", _standing, None),
        pulled=given.take("pulled", _standing, None),  # older files have no such keys
        left=list(given.take("left", _ids, ())),
    )


def _standing(value: object, place: Wording) -> Standing:
    book, revision, mark = listed(lambda one, _: one, 3, 3, expected=_OURS)(value, place)
    return Standing(read_id(book, place), _revision(revision, place), read_id(mark, place))


_revision: Final = whole(0, 2**53, Said("expected/revision"))


def _name(value: object, place: Wording) -> str:
    return text.line(value, place)


def read_key(value: object) -> str:
    """Read a public key, 32 bytes in base64, in its only spelling.

    Raises BadInput, also for a point of small order or a spelling that RFC 8032 (5.1.3) does not allow: under
    such a key anybody can make valid signatures.
    """
    try:
        raw = base64.b64decode(value, validate=True) if isinstance(value, str) else b""
    except ValueError:
        raw = b""
    y = int.from_bytes(raw, "little") & ~_SIGN
    if len(raw) == _KEY_BYTES and y < _PRIME and y not in SMALL:
        return base64.b64encode(raw).decode()
    raise BadInput("key", value, Said("expected/public-key"))


@contextmanager
def changing(home: Path) -> Iterator[Peers]:
    """Give the present file in ``home``; changes made in the block are written at its end.

    No other program changes the file meanwhile, so the block must be short: no question, no book. An
    exception in it leaves the file as it was. Raises as ``load``, and BookTrouble if the file cannot be
    written.
    """
    with changing_files(home):
        mine = load(home)
        before = _bytes(mine)
        yield mine
        if (after := _bytes(mine)) != before:
            with trouble_at(home / FILE):
                write_mine(home / FILE, after)


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
