"""Write findings to a bundle for another book, and check a received bundle.

JSON Lines, plain or gzip. The first line is the header: format version, the book it came from, the revisions
it covers, how many facts of each kind follow, their bytes and SHA-256, and perhaps a signature over all that.
Nothing of a bundle is used before its checksum and signature hold. Nothing in it is ever used as a path, run,
or shown unescaped. Sizes and depth are bounded.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

from kb.base import text
from kb.base.atomic import whole
from kb.base.errors import BadInput, BookTrouble, JackfieldError, Stated, inside, kind_of, why_of
from kb.base.files import refuse_special_output
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.base.validation import Fields
from kb.base.validation import whole as whole_number
from kb.domain.visit import Visit, in_future, read_id
from kb.exchange.fact_lines import KINDS, from_object, to_line
from kb.exchange.lines import LINE_BYTES, lines_of, opened, unpacked
from kb.exchange.signing import sign, signer
from kb.store.bundles import Origin
from kb.store.content_id import sealed_id, without_private
from kb.store.facts import Fact, VisitFact, WithdrawalFact
from kb.store.merging import examine
from kb.store.revision import Standing

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

FORMAT: Final = 1
PACKED: Final = 64 * 1024 * 1024  #: bytes of a bundle file, at most
BYTES: Final = 256 * 1024 * 1024  #: bytes of the facts in it, unpacked, at most: some 300,000 visits
_CHUNK: Final = 1 << 20
_COUNT: Final = 10_000_000


@dataclass(frozen=True, slots=True)
class Header:
    """Hold the header of a bundle.

    ``signed_by``: the public key whose signature is valid, or "". ``id``: made from the rest without the
    signature, so one bundle has one id.
    """

    book: str
    after: int
    to: int
    mark: str
    counts: dict[str, int]
    signed_by: str
    id: str


def write(
    path: Path,
    facts: Iterator[Fact],
    *,
    book: str,
    after: int,
    to: int,
    mark: str,
    key: Ed25519PrivateKey | None,
    replace: bool = False,
) -> dict[str, int]:
    """Write a bundle, complete or not at all; gzip if the name ends in ``.gz``. Return the counts by kind.

    ``after`` and ``to``: the bundle holds the facts that came after the one revision, up to the other. Raises
    BadInput if the file is there and ``replace`` is not set, or there is too much for one bundle. Raises
    BookTrouble if it cannot be written.
    """
    with new_file(path, replace=replace) as out, tempfile.TemporaryFile() as body:
        counts, size, digest = dict.fromkeys(KINDS, 0), 0, hashlib.sha256()
        for fact in facts:
            line = to_line(fact).encode("utf-8")
            counts[line[2 : line.index(b'"', 2)].decode()] += 1
            size += len(line)
            digest.update(line)
            body.write(line)
        if size > BYTES:
            raise BadInput(
                "share out", Said("seen/bytes", count=size), Said("expected/less-at-once", most=BYTES)
            )
        header: dict[str, Any] = {
            "jackfield": "bundle",
            "format": FORMAT,
            "book": book,
            "from": after,
            "to": to,
            "mark": mark,
            "counts": counts,
            "bytes": size,
            "sha256": digest.hexdigest(),
        }
        if key:
            header["signed"] = sign(key, _said(header))
        out.write(json.dumps(header).encode() + b"\n")
        body.seek(0)
        while some := body.read(_CHUNK):
            out.write(some)
    return counts


@contextmanager
def new_file(path: Path, *, replace: bool) -> Iterator[IO[bytes]]:
    """Open a new file for others, complete or absent, for this user alone; gzip by its name.

    Raises BadInput if it is there already and ``replace`` is not set, or its folder is missing. Raises
    BookTrouble if it cannot be written.
    """
    refuse_special_output(path)
    if not path.parent.is_dir():
        raise BadInput(str(path), Stated("error/no-folder"))
    if path.exists() and not replace:
        raise BadInput(str(path), Stated("error/file-exists"), Said("do/choose-name-or-replace"))
    try:
        with whole(path, packed=path.suffix == ".gz") as file:
            yield file
    except OSError as trouble:
        said = why_of(trouble)
        raise BookTrouble(Said("error/could-not-be-written", place=path, why=said)) from trouble


def _said(header: dict[str, Any]) -> bytes:
    """Return the signed bytes: the whole header, in one spelling."""
    plain = {key: value for key, value in header.items() if key != "signed"}
    return json.dumps(plain, sort_keys=True, separators=(",", ":")).encode()


@contextmanager
def read(name: str) -> Iterator[tuple[Header, Iterator[Fact]]]:
    """Return the header of a bundle and its facts, once checksum and signature hold.

    Raises BadInput naming the line and field on any fault, such as an id that does not fit.
    """
    with opened(name, PACKED) as (file, place, _):
        header, size = _checked(unpacked(file), place)
        file.seek(0)
        yield header, _facts(unpacked(file), place, header, size)


@dataclass(frozen=True, slots=True)
class Older:
    """Describe a bundle that is about to be replaced.

    It has the revision after which it began, the book's state when it was written, and the ids of its visits,
    merges and notes.
    """

    after: int
    standing: Standing
    ids: tuple[str, ...]


def held_in(path: Path, book: str) -> Older | None:
    """Return the content of the file if it is a complete bundle of the book with this id, else None."""
    if not path.is_file():
        return None
    try:
        with read(str(path.absolute())) as (header, facts):
            if header.book != book:
                return None
            ids = tuple(one.id for one in facts if not isinstance(one, WithdrawalFact))
            return Older(header.after, Standing(header.book, header.to, header.mark), ids)
    except JackfieldError:  # damaged, or another file altogether
        return None


def _checked(file: IO[bytes], place: Wording) -> tuple[Header, int]:
    try:
        first = file.readline(LINE_BYTES + 1)
        header, size, digest = _header(first, place)
        seen, found = 0, hashlib.sha256()
        while some := file.read(_CHUNK):
            seen += len(some)
            if seen > size:
                raise BadInput(
                    place,
                    Said("seen/more-than-bytes-of-facts", most=size),
                    Said("expected/as-first-line-says", what=size),
                )
            found.update(some)
    except BadInput:
        raise
    except (OSError, EOFError, ValueError) as wrong:
        raise BadInput(place, str(wrong), Said("expected/whole-bundle")) from None
    except Exception as wrong:  # zlib.error is not a subclass of these
        if type(wrong).__module__ != "zlib":
            raise
        raise BadInput(place, str(wrong), Said("expected/whole-gzip")) from None
    if seen != size:
        raise BadInput(
            place, Said("seen/bytes-of-facts", count=seen), Said("expected/bytes-or-cut-off", bytes=size)
        )
    if found.hexdigest() != digest:
        raise BadInput(
            place,
            Said("seen/other-checksum"),
            Said("expected/facts-handed-out"),
        )
    return header, size


def _header(first: bytes, place: Wording) -> tuple[Header, int, str]:
    if len(first) > LINE_BYTES:
        raise BadInput(
            inside(place, Said("place/line", number=1)),
            Said("seen/longer-line"),
            Said("expected/at-most-bytes", most=LINE_BYTES),
        )
    place = inside(place, Said("place/line", number=1))
    try:
        said = first.decode("utf-8")
    except UnicodeDecodeError:
        raise BadInput(place, Said("seen/not-utf-8"), Said("expected/bundle")) from None
    data = json_of(said, place)
    if not isinstance(data, dict) or data.get("jackfield") != "bundle":
        raise BadInput(place, kind_of(data), Said("expected/header-of-bundle"))
    if data.get("format") != FORMAT or isinstance(data.get("format"), bool):
        raise BadInput(
            inside(place, "format"), data.get("format"), Said("expected/older-format", format=FORMAT)
        )
    try:
        return _header_of(data)
    except BadInput as mistake:
        raise mistake.within(place) from None


def _header_of(data: dict[str, Any]) -> tuple[Header, int, str]:
    given = Fields(data, "header", Said("expected/object"), bare=True)
    for key in ("jackfield", "format"):  # checked before
        given.need(key, lambda value, _: value)
    size, digest = given.need("bytes", _count(BYTES)), given.need("sha256", _digest)
    signed = given.take("signed", lambda value, _: signer(value, _said(data)), "")
    header = Header(
        book=given.need("book", read_id),
        after=given.need("from", _count(2**53)),
        to=given.need("to", _count(2**53)),
        mark=given.need("mark", read_id),
        counts=given.need("counts", _counts),
        signed_by=signed,
        id=sealed_id("bundle", {key: value for key, value in data.items() if key != "signed"}),
    )
    given.end()
    return header, size, digest


def _counts(value: object, place: Wording) -> dict[str, int]:
    given = Fields(value, place, Said("expected/how-many-of", words=", ".join(KINDS)))
    counts = {kind: given.need(kind, _count(_COUNT)) for kind in KINDS}
    given.end()
    return counts


def _digest(value: object, place: Wording) -> str:
    if not isinstance(value, str) or len(value) != 64:
        raise BadInput(place, value, Said("expected/hexadecimal", digits=64))
    return value


def _count(most: int) -> Callable[[object, Wording], int]:
    return whole_number(0, most, f"a whole number, 0 to {most}")


def _facts(file: IO[bytes], place: Wording, header: Header, size: int) -> Iterator[Fact]:
    seen = dict.fromkeys(KINDS, 0)
    for number, line in lines_of(file, place, encoding="utf-8", most=size + LINE_BYTES):
        if number == 1:
            continue
        where = inside(place, Said("place/line", number=number))
        value = json_of(line, where)
        fact = from_object(value, where)
        if isinstance(fact, VisitFact) and (fact.recorded or without_private(fact.visit) != fact.visit):
            raise BadInput(where, Said("seen/private-words"), Said("expected/facts-of-sets"))
        try:
            examine(fact, outside=True)
        except BadInput as mistake:
            raise mistake.within(where) from None
        seen[next(iter(value))] += 1
        yield fact
    if seen != header.counts:
        raise BadInput(
            place, Said("seen/data", data=seen), Said("expected/as-first-line-says", what=header.counts)
        )


def origin(header: Header, name: str) -> Origin:
    """Return the origin of a bundle's facts for the book; ``name`` is the file's name, only for display."""
    shown = text.visible(Path(name).name)[: text.LINE] if name != "-" else ""
    return Origin(header.id, "bundle", header.book, shown, header.signed_by)


def without_future(facts: Iterator[Fact], left_out: list[Visit]) -> Iterator[Fact]:
    """Yield the facts without visits of a future day by this machine's clock; these go into ``left_out``.

    We cannot know whose clock is wrong. The rest of the bundle is good. Once the clock is right, or the day
    has come, the same bundle brings the visits left out.
    """
    for fact in facts:
        if isinstance(fact, VisitFact) and in_future(fact.visit.date):
            left_out.append(fact.visit)
        else:
            yield fact
