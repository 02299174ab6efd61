"""Which phones may look into the book, and how does one become one of them?

The terminal shows a code; who types it on a phone has seen the terminal. A code pairs one phone and is worth
ten minutes; opening the pairing page after that makes the terminal show a new one. A paired phone holds a
random token in a cookie; what is kept beside the book is the token's SHA-256 only.

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
from collections.abc import Callable
from pathlib import Path
from typing import Final

from kb.web import privately

LETTERS: Final = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"  #: 32 signs, none like another by torch light
LENGTH: Final = 8  #: 40 bits
CODE_S: Final = 600  #: seconds that a code is worth, ten minutes at most (OWASP ASVS 5.0, 6.5.5)
IDLE_S: Final = 30 * 86_400  #: a phone not seen for a month is forgotten (7.3.1)
WHOLE_S: Final = 180 * 86_400  #: and any after half a year (7.3.2)
WRONG: Final = 20  #: wrong codes after which the offered one is replaced (6.6.3)
MOST: Final = 500  #: phones remembered
_SEEN_S: Final = 3_600  #: how exactly the last use is kept


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
        self._phones = self._load()

    # -- pairing ---------------------------------------------------------------------------------------

    def offered(self) -> str:
        """The code that pairs the next phone; where the last one is used or too old, a new one is told."""
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
            self._code = ""
            token = secrets.token_urlsafe(32)  # 256 bits (7.2.3)
            self._phones[_print(token)] = [self._now(), self._now()]
            self._save()
        return token

    # -- paired phones ---------------------------------------------------------------------------------

    def known(self, token: str) -> bool:
        """Does this token belong to a paired phone?"""
        print_ = _print(token)
        with self._lock:
            phone = self._phones.get(print_)
            if phone is None:
                return False
            now = self._now()
            if not _alive(phone, now):
                del self._phones[print_]
                self._save()
                return False
            if now - phone[1] > _SEEN_S:
                phone[1] = now
                self._save()
            return True

    def forget(self, token: str) -> None:
        """The phone with this token is paired no more."""
        with self._lock:
            if self._phones.pop(_print(token), None) is not None:
                self._save()

    def forget_all(self) -> int:
        """No phone is paired any more; returns how many were."""
        with self._lock:
            count = len(self._phones)
            self._phones.clear()
            self._save()
            return count

    # -- the file --------------------------------------------------------------------------------------

    def _load(self) -> dict[str, list[float]]:
        """What the file tells; a file that is none pairs nobody."""
        try:
            data = json.loads(self._file.read_bytes()[:1_000_000])
            phones = {str(key): [float(since), float(seen)] for key, (since, seen) in data.items()}
        except (OSError, ValueError, TypeError, AttributeError, RecursionError):
            return {}
        return {key: phone for key, phone in phones.items() if _alive(phone, self._now())}

    def _save(self) -> None:
        while len(self._phones) > MOST:
            del self._phones[min(self._phones, key=lambda key: self._phones[key][1])]
        privately.write(self._file, json.dumps(self._phones).encode())


def form_token(token: str) -> str:
    """The token that stands in this phone's forms: made from the cookie's, which no other site can read."""
    return hmac.new(token.encode(), b"form", hashlib.sha256).hexdigest()


def spelt(code: str) -> str:
    """The code as people read it: ``ABCD-EFGH``."""
    return f"{code[:4]}-{code[4:]}"


def _print(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _alive(phone: list[float], now: float) -> bool:
    return now - phone[0] < WHOLE_S and now - phone[1] < IDLE_S
