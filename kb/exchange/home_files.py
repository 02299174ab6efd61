"""Put files next to a book, such as settings and photos, into a backup, and restore them.

Settings and sharing data (trusted keys, facts given to each colleague) go into one small file next to the
copy; photos and manuals go into folders next to the copies. The secret key and the paired phones stay out: a
stick gets lost, and both are made again in a minute.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from kb import settings
from kb.base.atomic import sync_names, whole, write_mine
from kb.base.errors import BookTrouble, JackfieldError, trouble_at, why_of
from kb.base.files import open_plain, private_folder
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.exchange import share_state as peers

ENDING: Final = ".home.json"  #: of the file next to a copy
_MOST: Final = 128 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Brought:
    """Hold the result of a restore for the files next to the book."""

    files: tuple[str, ...] = ()
    """Files that were missing and are there again."""
    trusted: tuple[str, ...] = ()
    """Names whose keys are trusted again through that."""
    not_trusted: tuple[str, ...] = ()
    """Names that the backup trusts and this machine does not (any more); they stay so."""
    photos: int = 0
    manuals: int = 0
    problems: tuple[Wording, ...] = ()


def beside(copy: Path) -> Path:
    """Return the file that belongs to a copy."""
    return copy.with_name(copy.name + ENDING)


def keep(home: Path, copy: Path) -> None:
    """Write settings and sharing of ``home`` next to a copy of its book. Raises BookTrouble."""
    kept: dict[str, str] = {}
    with trouble_at(beside(copy)):
        for name in (settings.FILE, settings.SHARE):
            with suppress(FileNotFoundError), open_plain(home / name, name) as file:
                kept[name] = file.read(_MOST).decode("utf-8", "surrogateescape")
        write_mine(beside(copy), json.dumps({"jackfield": "home", "files": kept}).encode())


@dataclass(frozen=True, slots=True)
class Beside:
    """Files of a kind next to a book, and next to its backups: one folder for each visit or manual.

    ``groups`` are the names of these folders, ``names`` those of the files in them. What people count are
    the files with the ending ``counted``.
    """

    folder: str
    groups: re.Pattern[str]
    names: re.Pattern[str]
    counted: str

    def files(self, home: Path) -> Iterator[Path]:
        """Yield these files in ``home``, and no others. Raises BookTrouble."""
        with trouble_at(home / self.folder):
            try:
                found = (home / self.folder).iterdir()
                groups = sorted(one for one in found if self.groups.fullmatch(one.name))
            except (FileNotFoundError, NotADirectoryError):
                return
        for group in groups:
            with suppress(OSError):
                yield from sorted(
                    one
                    for one in group.iterdir()
                    if self.names.fullmatch(one.name) and one.is_file() and not one.is_symlink()
                )

    def carry(self, files: Iterable[Path], home: Path) -> int:
        """Add files that are not in ``home`` yet; return how many people count. Raises BookTrouble."""
        folder = home / self.folder
        carried = [one.suffix for one in files if _carry(one, folder / one.parent.name / one.name)]
        return carried.count(self.counted)

    def keep(self, home: Path, folder: Path) -> int:
        """Add all files of ``home`` that are not in ``folder`` yet; as ``carry``."""
        return self.carry(self.files(home), folder)


_HASH: Final = "[0-9a-f]{64}"
_VISIT: Final = re.compile("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
#: The pictures, and where jacks are on them.
PHOTOS: Final = Beside(settings.PHOTOS, _VISIT, re.compile(rf"{_HASH}\.(?:jpg|json)"), ".jpg")
#: The files themselves, their texts, and the pages from which findings of visits came.
MANUALS: Final = Beside(
    settings.MANUALS,
    re.compile(_HASH),
    re.compile(rf"manual\.pdf|text\.json|{_VISIT.pattern}\.json"),
    ".pdf",
)


def bring_back(copy: Path, home: Path, visits: set[str]) -> Brought:
    """Restore missing files next to the book; existing ones stay as they are.

    So trust that was dropped after the backup does not return on the machine where it was dropped.
    """
    files: list[str] = []
    problems: list[Wording] = []
    trusted: tuple[str, ...] = ()
    not_trusted: tuple[str, ...] = ()
    photos = manuals = 0
    try:
        kept = _read(beside(copy))
        then = _trusted(kept)
        for name, said in kept.items():
            if not (home / name).exists():
                write_mine(home / name, said)
                files.append(name)
        now = peers.load(home).trusted
        trusted = tuple(sorted(then)) if settings.SHARE in files else ()
        not_trusted = tuple(sorted(name for name, key in then.items() if now.get(name) != key))
    except (JackfieldError, OSError) as trouble:
        problems.append(Said("error/place-why", place=beside(copy), why=why_of(trouble)))
    try:
        mine = [photo for photo in PHOTOS.files(copy.parent) if photo.parent.name in visits]
        photos = PHOTOS.carry(mine, home)
        every = MANUALS.files(copy.parent)
        shelf = [file for file in every if file.stem in visits or not _VISIT.fullmatch(file.stem)]
        manuals = MANUALS.carry(shelf, home)
    except BookTrouble as trouble:
        problems.append(trouble.said)
    return Brought(tuple(files), trusted, not_trusted, photos, manuals, tuple(problems))


def _read(path: Path) -> dict[str, bytes]:
    """Return our own files in it, by name; none if there is no such file (an older backup)."""
    try:
        with open_plain(path, str(path)) as file:
            data = json_of(file.read(_MOST).decode("utf-8"), str(path))
        found = data["files"]
        return {
            name: found[name].encode("utf-8", "surrogateescape")
            for name in (settings.FILE, settings.SHARE)
            if name in found
        }
    except FileNotFoundError:
        return {}
    except (ValueError, KeyError, TypeError, AttributeError) as problem:
        raise BookTrouble(Said("error/files-not-of-backup")) from problem


def _trusted(kept: dict[str, bytes]) -> dict[str, str]:
    """Return the keys that the backup trusts, after reading all of it with the home's own readers."""
    with tempfile.TemporaryDirectory() as name:
        for file, said in kept.items():
            (Path(name) / file).write_bytes(said)
        settings.load(Path(name))
        return dict(peers.load(Path(name)).trusted)


def _carry(photo: Path, target: Path) -> bool:
    """Link a photo or manual in a second place, without a second copy on one disk. They never change."""
    if target.exists():
        return False
    with trouble_at(target):
        try:
            private_folder(target.parent)
            try:
                os.link(photo, target)
            except FileExistsError:
                return False
            except OSError:  # another disk, or one without links
                with photo.open("rb") as source, whole(target) as file:
                    shutil.copyfileobj(source, file)
            else:
                sync_names(target.parent)
        except FileNotFoundError:  # it went with its visit meanwhile
            return False
    return True
