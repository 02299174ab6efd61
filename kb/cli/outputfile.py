"""Write a page or picture to the file that the user names, completely or not at all."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from kb.base.atomic import USUAL, whole
from kb.base.errors import BadInput, BookTrouble, Stated, why_of
from kb.base.files import SQLITE_ENDINGS
from kb.base.messages import Said, either
from kb.settings import BOOK, FILES, FOLDERS


def refuse_kept(name: str, option: str, home: Path) -> None:
    """Raise BadInput where the file to be written is one that Jackfield keeps, in ``home`` or elsewhere."""
    if _is_kept(Path(name), home):
        raise BadInput(
            Said("place/option-of", option=option, what=name),
            Said("seen/own-file"),
            Said("expected/another-file"),
        )


#: Endings that say what a file holds. Text of ours may have any other ending.
_ENDINGS: Final[dict[str, tuple[str, ...]]] = {
    "SVG": (".svg",),
    "HTML": (".html", ".htm"),
    "PNG": (".png",),
    "WAV": (".wav", ".wave"),
    "CSV": (".csv",),
    "JSON": (".json",),
    "JSON Lines": (".jsonl", ".ndjson", ".json"),
    "TOML": (".toml",),
}
_OTHERS: Final = frozenset(
    ".pdf .jpg .jpeg .gif .webp .heic .bmp .tif .tiff .xls .xlsx .ods .doc .docx .odt .rtf .zip .mp3 .flac"
    " .ogg .m4a .aac .sqlite .db".split()
)


def refuse_misnamed(name: str, option: str, holds: str) -> None:
    """Raise BadInput if the file's ending says that it holds something else than ``holds``."""
    path = Path(name.lower().removesuffix(".gz"))
    own = [ending for one in holds.split(", ") for ending in _ENDINGS.get(one, ())]
    every = _OTHERS.union(*_ENDINGS.values())
    if path.suffix in every and path.suffix not in own:
        expected = Said("do/end-name-in", endings=either(own)) if own else Said("do/choose-another-ending")
        raise BadInput(
            Said("place/option-of", option=option, what=name),
            Stated("error/would-hold", holds=holds),
            expected,
        )


def _is_kept(path: Path, home: Path) -> bool:
    try:
        target = path.expanduser().resolve()
        return any(_keeps(folder, target) for folder in _homes(home.resolve(), target))
    except (OSError, RuntimeError, ValueError):  # no name, or a cycle of links: writing will say so
        return False


def _homes(home: Path, target: Path) -> Iterator[Path]:
    """The home of this call, and any other that the file lies in."""
    yield home
    yield from (folder for folder in target.parents if folder != home and (folder / BOOK).is_file())


def _keeps(home: Path, target: Path) -> bool:
    files = [*FILES, *(BOOK + ending for ending in SQLITE_ENDINGS)]
    if target.is_relative_to(home):
        first = target.relative_to(home).parts[:1]
        if first and (first[0] in (*files, *FOLDERS) or first[0].startswith(f"{BOOK}.")):
            return True
    # Under another name: a second link, or a file system that does not tell capital letters from small ones.
    return target.exists() and any(
        (home / name).exists() and (home / name).samefile(target) for name in files
    )


def write_out(name: str, content: str | bytes, option: str, mode: int = USUAL) -> int:
    """Write ``content``, text as UTF-8, to the file ``name``, ``-`` for stdout; returns its bytes.

    An existing file is replaced when the new one is complete. Raises BadInput for an invalid name
    that can be written to, BookTrouble where writing fails.
    """
    raw = content.encode("utf-8") if isinstance(content, str) else content
    if name == "-":
        sys.stdout.buffer.write(raw)
        sys.stdout.buffer.flush()
        return len(raw)
    path = Path(name)
    try:
        if path.is_dir():
            raise BadInput(option, name, Said("expected/file-not-folder"))
        if not path.parent.is_dir():
            raise BadInput(option, name, Said("expected/file-in-existing-folder"))
        if path.exists() and not path.is_file():  # a pipe or a device is written to as it is
            path.write_bytes(raw)
            return len(raw)
        with whole(path.resolve(), mode) as file:
            file.write(raw)
    except OSError as trouble:
        raise BookTrouble(
            Said("error/option-unwritable", option=option, name=name, why=why_of(trouble))
        ) from trouble
    except ValueError:
        raise BadInput(option, name, Said("expected/allowed-name")) from None
    return len(raw)
