"""Pair phones: which may look into the book, and how one becomes one of them.

The terminal shows a code; who types it on a phone has seen the terminal. A code pairs one phone and is worth
ten minutes; opening the pairing page after that makes the terminal show a new one. A paired phone holds a
random token in a cookie; only the token's SHA-256 is kept next to the book. The file is the truth:
it is looked at again with each request, and changed only as it stands then, so that several servers on one
book let in the same phones, and one that is forgotten anywhere is forgotten everywhere at once.

>>> from tempfile import TemporaryDirectory
>>> with TemporaryDirectory() as home:
...     phones = Phones(Path(home) / "phones.json", tell=lambda code: None)
...     token = phones.pair(phones.offered())
...     phones.known(token), phones.known("made up"), phones.pair("made up")
(True, False, None)
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from kb.base.atomic import changing_files, keep_mine
from kb.base.errors import BadInput, BookTrouble, trouble_at
from kb.base.parsing import json_of

FILE: Final = "phones.json"  #: next to the book
LETTERS: Final = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"  #: 32 signs, none like another by torch light
LENGTH: Final = 8  #: 40 bits
CODE_S: Final = 600  #: seconds that a code is worth, ten minutes at most (OWASP ASVS 5.0, 6.5.5)
IDLE_S: Final = 30 * 86_400  #: a phone not seen for a month is forgotten (7.3.1)
WHOLE_S: Final = 180 * 86_400  #: and any after half a year (7.3.2)
WRONG: Final = 20  #: wrong codes after which the offered one is replaced (6.6.3)
MOST: Final = 500  #: phones remembered
_SEEN_S: Final = 3_600  #: how exactly the last use is kept
_MOST_BYTES: Final = 1_000_000


class Phones:
    """The paired phones of one book, in a small file; for several threads at once."""

    def __init__(self, file: Path, tell: Callable[[str], None], now: Callable[[], float] = time.time) -> None:
        self._file = file
        self._tell = tell
        self._now = now
        self._lock = threading.Lock()
        self._code = ""
        self._until = 0.0
        self._wrong = 0
        #: How the file looked, and what it said; one value, as threads exchange it without a lock.
        self._seen: tuple[tuple[int, ...], dict[str, list[float]]] = ((), {})

    # -- pairing ---------------------------------------------------------------------------------------

    def offered(self) -> str:
        """The code that pairs the next phone; a new one if the last one is used or too old."""
        with self._lock:
            return self._offered()

    def _offered(self) -> str:
        if not self._code or self._now() >= self._until:
            self._code = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
            self._until, self._wrong = self._now() + CODE_S, 0
            self._tell(self._code)
        return self._code

    def pair(self, typed: str) -> str | None:
        """A token for the phone on which the offered code was typed; None for any other code."""
        given = "".join(typed.upper().split()).replace("-", "").encode("utf-8", "replace")
        with self._lock:
            fresh = bool(self._code) and self._now() < self._until
            if not (fresh and hmac.compare_digest(given, self._code.encode())):
                self._wrong += 1
                if self._wrong >= WRONG:
                    self._code = ""
                    self._offered()
                return None
            token = secrets.token_urlsafe(32)  # 256 bits (7.2.3)
            with self._changing() as phones:
                phones[_print(token)] = [self._now(), self._now()]
                while len(phones) > MOST:
                    del phones[min(phones, key=lambda key: phones[key][1])]
            self._code = ""
        return token

    # -- paired phones ---------------------------------------------------------------------------------

    def known(self, token: str) -> bool:
        """Does this token belong to a paired phone? It has been seen now. Raises BookTrouble."""
        print_ = _print(token)
        with self._lock:
            phone = self._read().get(print_)
            if phone is None or not _alive(phone, self._now()):
                return False
            if self._now() - phone[1] > _SEEN_S:
                with self._changing() as phones:
                    if print_ not in phones:  # forgotten a moment ago
                        return False
                    phones[print_][1] = self._now()
            return True

    def has(self, token: str) -> bool:
        """As ``known``, but nothing is written, nobody waited for, and no trouble raised."""
        try:
            phone = self._read().get(_print(token))
        except BookTrouble:
            return False
        return phone is not None and _alive(phone, self._now())

    def forget(self, token: str) -> None:
        """End the pairing of the phone with this token. Raises BookTrouble."""
        with self._lock, self._changing() as phones:
            phones.pop(_print(token), None)

    def forget_all(self) -> int:
        """No phone is paired any more; returns how many were. Raises BookTrouble."""
        with self._lock, self._changing() as phones:
            count = len(phones)
            phones.clear()
            return count

    # -- the file --------------------------------------------------------------------------------------

    def _read(self) -> dict[str, list[float]]:
        """What the file says now; a damaged file pairs nobody. Raises BookTrouble if it cannot be read."""
        with trouble_at(self._file):
            try:
                found = self._file.stat()
                stamp = (found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)
                before, phones = self._seen
                if stamp != before:
                    phones = _phones(self._file.read_bytes()[:_MOST_BYTES])
                    self._seen = (stamp, phones)
                return phones
            except FileNotFoundError:
                return {}

    @contextmanager
    def _changing(self) -> Iterator[dict[str, list[float]]]:
        """The phones that are alive, to be changed; written when they were. Raises BookTrouble."""
        with changing_files(self._file.parent):
            now = self._now()
            before = self._read()
            phones = {key: [*phone] for key, phone in before.items() if _alive(phone, now)}
            yield phones
            if phones != before:
                keep_mine(self._file, json.dumps(phones).encode())


def _phones(content: bytes) -> dict[str, list[float]]:
    try:
        data = json_of(content.decode(), FILE)
        return {str(key): [float(since), float(seen)] for key, (since, seen) in data.items()}
    except (BadInput, ValueError, TypeError, AttributeError):
        return {}


def forget_all(home: Path) -> int:
    """No phone is paired with the book in ``home`` any more; returns how many were. Raises BookTrouble."""
    return Phones(home / FILE, tell=lambda code: None).forget_all()


def form_token(token: str) -> str:
    """The token in this phone's forms: made from the cookie's, which no other site can read."""
    return hmac.new(token.encode(), b"form", hashlib.sha256).hexdigest()


def spelt(code: str) -> str:
    """The code as people read it: ``ABCD-EFGH``."""
    return f"{code[:4]}-{code[4:]}"


def _print(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _alive(phone: list[float], now: float) -> bool:
    return now - phone[0] < WHOLE_S and now - phone[1] < IDLE_S
