"""Check photos of panels and keep them.

Photos are in ``photos/VISIT/HASH.jpg`` next to the book: private to this machine, in no table and so in no
bundle. A photo from a phone is decoded and encoded again, so that nothing of the file that was sent stays:
no place, no camera, no hidden content. What a photo may cost is bounded by ``kb.read.picture``.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final
from uuid import UUID

from kb.base.atomic import keep_mine, sync_names
from kb.base.errors import BadInput, BookTrouble, NotFound, trouble_at
from kb.base.files import private_folder
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.read.picture import cleaned
from kb.settings import PHOTOS

if TYPE_CHECKING:
    from kb.domain.visit import Visit

MOST: Final = 6  #: photos of one visit
MOST_SPOTS: Final = 64  #: jacks pointed at on one photo
LOOSE_S: Final = 86_400  #: a photo that no visit took is dropped after a day
_MOST_VERSIONS: Final = 100  # of one visit, whose photos are looked for
_AT_ONCE: Final = 2  # photos being decoded
_TURN_S: Final = 30  # that a photo waits for its turn
_HASH: Final = re.compile(r"[0-9a-f]{64}\Z")
_LOOSE: Final = "loose"


@dataclass(frozen=True, slots=True)
class Spot:
    """A jack on a photo, by its mark or form; ``x`` from the left and ``y`` from the top, as shares."""

    x: float
    y: float
    jack: str


class Photos:
    """The photos next to the book in ``home``."""

    def __init__(self, home: Path) -> None:
        self._folder = home / PHOTOS
        self._decoding = threading.Semaphore(_AT_ONCE)

    def keep(self, sent: bytes, place: Wording = "photo") -> str:
        """Keep a photo until a visit takes it; returns its name, the SHA-256 of what is kept.

        Raises BadInput if it is no JPEG, PNG, WebP or HEIC, or is too large; BookTrouble if it cannot be
        kept.
        """
        if not self._decoding.acquire(timeout=_TURN_S):
            raise BookTrouble(Said("web/trouble/looking", place=place))
        try:
            clean = cleaned(sent, place)
        finally:
            self._decoding.release()
        return self.keep_clean(clean)

    def keep_clean(self, picture: bytes) -> str:
        """Keep a picture that ``cleaned`` made, as ``keep`` does. Raises BookTrouble."""
        name = hashlib.sha256(picture).hexdigest()
        self._sweep()
        # Written again even if it exists: from now on it is as new as its visit.
        keep_mine(self._folder / _LOOSE / f"{name}.jpg", picture)
        return name

    def attach(self, visit: str, names: list[str]) -> list[str]:
        """Give loose photos to a visit; returns the names that are its own now. Missing ones are skipped."""
        own = []
        for name in dict.fromkeys(names):
            if not _HASH.match(name):
                continue
            target = self._of(visit) / f"{name}.jpg"
            loose = self._folder / _LOOSE / f"{name}.jpg"
            if not target.exists() and len(self.of(visit)) >= MOST:
                continue
            with trouble_at(target):
                try:
                    if not target.exists():
                        private_folder(target.parent)
                        os.replace(loose, target)
                        sync_names(target.parent)
                except FileNotFoundError:
                    if not target.exists() and not self._copied(name, target):
                        continue  # else another server, or a visit with the same photo, has just taken it
            own.append(name)
        return own

    def _copied(self, name: str, target: Path) -> bool:
        """Copy the photo from another visit that has it: two may have sent the very same one."""
        for other in self._folder.glob(f"*/{name}.jpg"):
            with suppress(FileNotFoundError):
                keep_mine(target, other.read_bytes())
                return True
        return False

    def of_versions(self, visit: Visit, earlier: Callable[[str], Visit]) -> list[tuple[str, str]]:
        """Photos of a visit and of those that it corrects, as (visit, name): they stay where they were kept.

        ``earlier`` gives the visit with an id; it may raise NotFound.
        """
        found: dict[str, str] = {}
        seen, asked = {""}, [visit.id]
        while asked and len(seen) <= _MOST_VERSIONS:
            if (one := asked.pop(0)) not in seen:
                seen.add(one)
                found |= {name: one for name in self.of(one) if name not in found}
                with suppress(NotFound):
                    asked += (visit if one == visit.id else earlier(one)).supersedes
        return [(one, name) for name, one in found.items()]

    def of(self, visit: str) -> list[str]:
        """Names of the photos of a visit, oldest first."""
        try:
            files = [f for f in self._of(visit).iterdir() if f.suffix == ".jpg" and _HASH.match(f.stem)]
            return [f.stem for f in sorted(files, key=lambda f: (f.stat().st_mtime_ns, f.name))]
        except OSError:
            return []

    def read(self, visit: str, name: str) -> bytes:
        """The JPEG; raises NotFound."""
        if _HASH.match(name):
            with suppress(OSError):
                return (self._of(visit) / f"{name}.jpg").read_bytes()
        raise NotFound(Said("web/trouble/no-photo"))

    def point(self, visit: str, name: str, spots: Sequence[Spot]) -> None:
        """Keep where jacks are on a photo of a visit; nothing is kept of a photo that is not there."""
        file = self._of(visit) / f"{name}.jpg"
        if spots and _HASH.match(name) and file.exists():
            content = json.dumps([asdict(one) for one in spots[:MOST_SPOTS]], ensure_ascii=False)
            keep_mine(file.with_suffix(".json"), content.encode())

    def spots(self, visit: str, name: str) -> list[Spot]:
        """Where jacks are on a photo, as far as somebody pointed at them."""
        try:
            raw = (self._of(visit) / f"{name}.json").read_bytes() if _HASH.match(name) else b"[]"
            said = json_of(raw.decode(), name)
            return [Spot(float(one["x"]), float(one["y"]), str(one["jack"])) for one in said]
        except (BadInput, OSError, ValueError, TypeError, KeyError):
            return []

    def _of(self, visit: str) -> Path:
        try:
            return self._folder / str(UUID(visit))  # a name of ours, never one that was sent (5.3.2)
        except ValueError:
            raise NotFound(Said("web/trouble/no-photo")) from None

    def _sweep(self) -> None:
        before = time.time() - LOOSE_S
        with suppress(OSError):
            for file in (self._folder / _LOOSE).iterdir():
                if file.stat().st_mtime < before:
                    file.unlink(missing_ok=True)
