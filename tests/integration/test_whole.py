"""A file is there whole, or not at all, whatever happens meanwhile."""

from __future__ import annotations

import gzip
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from kb import Book
from kb.base.atomic import USUAL, changing_files, whole, write_mine
from kb.base.files import private_folder
from kb.book.photos import Photos
from kb.domain.visit import visit_from
from kb.exchange.backup import back_up
from kb.index.index_files import make_private
from kb.read.pdf import Document
from kb.read.shelf import Shelf
from kb.settings import BOOK

VISIT = {"date": "2026-03-04", "source": {"make": "Norwell", "model": "NV40-210"}, "note": "no sound"}


def test_what_breaks_off_leaves_the_old_file_and_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_bytes(b"as it was")

    def stopped() -> None:
        with whole(path) as file:
            file.write(b"half of it")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert path.read_bytes() == b"as it was"
    assert [one.name for one in tmp_path.iterdir()] == ["settings.toml"]


@pytest.mark.skipif(os.name == "nt", reason="other rights there")
def test_it_is_for_its_owner_alone_unless_said_otherwise(tmp_path: Path) -> None:
    write_mine(tmp_path / "new" / "share.json", b"{}")
    with whole(tmp_path / "page.html", USUAL) as file:
        file.write(b"<p>")
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o700
    assert (tmp_path / "new" / "share.json").stat().st_mode & 0o777 == 0o600
    mask = os.umask(0)
    os.umask(mask)
    assert (tmp_path / "page.html").stat().st_mode & 0o777 == USUAL & ~mask


@pytest.mark.skipif(os.name == "nt", reason="other rights there")
def test_whatever_makes_a_folder_makes_those_around_it_for_their_owner_alone(tmp_path: Path) -> None:
    """As the XDG Base Directory Specification says of folders for data that are missing."""
    outer = tmp_path / "outer"

    def recorded(home: Path) -> None:
        with Book.open(home) as book:
            book.record([visit_from(VISIT, "visit")])

    def backed_up(folder: Path) -> None:
        recorded(tmp_path / "home")
        back_up(tmp_path / "home" / BOOK, folder)

    makers: dict[str, Callable[[Path], object]] = {
        "a folder": private_folder,
        "a file": lambda at: write_mine(at / "a.json", b"{}"),
        "a lock": lambda at: changing_files(at).__enter__(),
        "a photo": lambda at: Photos(at).keep_clean(b"jpeg"),
        "a book": recorded,
        "a backup": backed_up,
        "a manual": lambda at: Shelf(at).keep(b"%PDF", "a.pdf", Document(0, ())),
        "an index": make_private,
    }
    for name, make in makers.items():
        make(outer / name / "inner")
        for folder in (outer, outer / name, *(one for one in (outer / name).rglob("*") if one.is_dir())):
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700, (name, folder)


def test_a_folder_where_a_file_is_stays_a_mistake(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("x")
    for path in (tmp_path / "a", tmp_path / "a" / "b"):
        with pytest.raises(OSError):
            private_folder(path)


def test_it_is_packed_when_asked(tmp_path: Path) -> None:
    with whole(tmp_path / "book.jsonl.gz", packed=True) as file:
        file.write(b"a fact a line\n")
    assert gzip.decompress((tmp_path / "book.jsonl.gz").read_bytes()) == b"a fact a line\n"


def test_a_name_as_long_as_the_disk_allows_can_be_written(tmp_path: Path) -> None:
    path = tmp_path / ("n" * 250)
    with whole(path) as file:
        file.write(b"x")
    assert path.read_bytes() == b"x"


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps names by itself")
def test_content_and_name_are_on_the_disk_before_it_counts_as_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new name is lost with the power unless its folder is synced as well (POSIX, fsync)."""
    path, kept, sync = tmp_path / "share.json", [], os.fsync

    def told(handle: int) -> None:
        kept.append(("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file", path.exists()))
        sync(handle)

    monkeypatch.setattr(os, "fsync", told)
    write_mine(path, b"{}")
    assert kept == [("file", False), ("folder", True)]


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps names by itself")
def test_a_disk_that_cannot_sync_folders_holds_up_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sync = os.fsync

    def some_disks(handle: int) -> None:
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(22, "Invalid argument")
        sync(handle)

    monkeypatch.setattr(os, "fsync", some_disks)
    write_mine(tmp_path / "share.json", b"{}")
    assert (tmp_path / "share.json").read_bytes() == b"{}"
