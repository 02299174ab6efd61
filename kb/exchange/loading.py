"""Load files of old notes as a stream in one transaction, and report their faults.

CSV with a column mapping, JSON Lines of visits, and dumps of a book (``kb.exchange.dumping``); gzip of any.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from itertools import chain
from typing import Any, Final

from kb.base import text
from kb.base.errors import BadInput, inside
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.base.progress import Progress
from kb.base.validation import Fields, keyed, whole
from kb.domain.visit import Visit, visit_from
from kb.exchange.csv_columns import TableMap
from kb.exchange.csv_table import Bad, Table, bad_of
from kb.exchange.fact_lines import from_object, is_fact
from kb.exchange.lines import Line, lines_of, opened, unpacked
from kb.exchange.sharing import personal
from kb.store import Store
from kb.store.bundles import Origin
from kb.store.content_id import NONCE, sealed_id
from kb.store.facts import Fact, VisitFact

#: Entries that the report keeps; it counts all.
REPORTED: Final = 1000

#: Called with bytes read so far and bytes of all files.


@dataclass(slots=True)
class BadRow:
    """Describe one fault and its place."""

    file: Wording
    line: int
    field: Wording
    seen: object
    expected: Wording


@dataclass(slots=True)
class Loaded:
    """Hold the result of loading. ``visits`` and ``findings`` are new; ``already`` were in the book."""

    visits: int = 0
    findings: int = 0
    other_facts: int = 0
    already: int = 0
    completed: int = 0
    """Of those: so far known only from another book, now with one's own notes."""
    withdrawn: list[str] = field(default_factory=list)
    """Of those already there: ids of visits that were withdrawn, and stay so."""
    bad_count: int = 0
    bad: list[BadRow] = field(default_factory=list)
    columns: dict[str, dict[str, str]] = field(default_factory=dict)
    unused: dict[str, list[str]] = field(default_factory=dict)
    revision: int = 0
    written: bool = False


class _Refused(Exception):
    """A file has a fault, and then nothing was to be kept."""


@dataclass(frozen=True, slots=True)
class Source:
    """Say how to read the files."""

    mapping: TableMap = field(default_factory=TableMap)
    encoding: str = "utf-8-sig"
    form: str = ""
    """``csv`` or ``jsonl``; "" looks at the name, then at the first character."""


def load(
    store: Store,
    names: Sequence[str],
    source: Source,
    *,
    keep_good: bool = False,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> Loaded:
    """Add the content of the files, all or nothing; with ``keep_good`` all good rows.

    One transaction covers all files, in a stream: memory does not grow with them. On a fault without
    ``keep_good``, or with ``dry_run``, the book stays as it was (``written`` is False). Raises BadInput if a
    file cannot be read at all or contradicts a fact of the book.
    """
    done = Loaded()
    with ExitStack() as files:
        given = [files.enter_context(opened(name)) for name in names]
        total = sum(size for _, _, size in given)
        before = 0

        def everything() -> Iterator[Visit | VisitFact | Fact]:
            nonlocal before
            for file, place, size in given:

                def told(_: int, file: Any = file, before: int = before) -> None:
                    if progress:
                        progress(before + file.tell(), total)

                lines = lines_of(unpacked(file), place, encoding=source.encoding, told=told)
                yield from _good(lines, place, source, done, keep_good or dry_run)
                before += size
            if done.bad_count and (not keep_good or dry_run):
                raise _Refused

        first, rest = _kind(everything(), done)
        try:
            if first is None:
                pass
            elif isinstance(first, Visit):
                _record(store, _alike(chain([first], rest), visits=True), done, dry_run)
            else:
                _merge(store, _alike(chain([first], rest), visits=False), done, dry_run)
        except _Refused:
            done.visits = done.findings = done.other_facts = 0
    done.revision = store.revision()
    return done


def _kind(stream: Iterator[Any], done: Loaded) -> tuple[Any, Iterator[Any]]:
    """Return the first good entry, which shows if visits or facts follow, and the stream."""
    try:
        return next(stream, None), stream
    except _Refused:
        return None, iter(())


def _alike(stream: Iterable[Any], *, visits: bool) -> Iterator[Any]:
    """Yield visits of files or facts of a dump; raises BadInput at the first one of the other kind."""
    for one in stream:
        if isinstance(one, Visit) is not visits:
            raise BadInput("files", Said("seen/dump-and-others"), Said("do/load-dump-alone"))
        yield one


class _Dry(Exception):
    """All was tried, and nothing is to be kept."""


def _record(store: Store, visits: Iterable[Visit], done: Loaded, dry_run: bool) -> None:
    def counted() -> Iterator[Visit]:
        for visit in visits:
            done.visits += 1
            done.findings += len(visit.findings)
            yield visit
        if dry_run:
            raise _Dry

    try:
        # What looks private is in no id that others could guess at: it may be corrected before it is shared.
        recorded = store.record(
            counted(),
            told=lambda visit: _was_there(visit, done),
            alike=lambda visit: not personal(visit),
            reinstate=False,  # a sheet loaded once more brings new rows, not withdrawn ones
        )
    except _Dry:
        return
    done.written = bool(recorded.recorded or recorded.completed)
    done.completed = len(recorded.completed)
    done.withdrawn = list(recorded.withdrawn)


def _was_there(visit: Visit, done: Loaded) -> None:
    done.already += 1
    done.visits -= 1
    done.findings -= len(visit.findings)


def _merge(store: Store, facts: Iterable[Any], done: Loaded, dry_run: bool) -> None:
    origin = Origin(sealed_id("bundle", secrets.token_hex(NONCE)), "dump")
    merged = store.merge(facts, outside=False, keep=not dry_run, origin=origin)
    done.visits, done.findings = merged.visits, merged.findings
    done.completed = merged.completed
    done.other_facts = merged.new - merged.visits - merged.completed
    done.already = merged.already
    done.written = not dry_run and merged.new > 0


def _good(
    lines: Iterator[Line], place: Wording, source: Source, done: Loaded, go_on: bool
) -> Iterator[Visit | Fact]:
    """Yield the good entries of one file; faults go into the report.

    After a fault, if nothing is to be kept then, the rest is only checked.
    """
    first = next(lines, None)
    if first is None or (not first.text.strip() and first.number == 1 and source.form != "csv"):
        seen = Said("seen/empty-file" if first is None else "seen/empty-first-line")
        raise BadInput(place, seen, Said("expected/notes"))
    lines = chain([first], lines)
    rows = _json_lines(lines, place) if _is_json(source.form, str(place), first) else None
    if rows is None:
        table = Table(lines, source.mapping, place)
        named = zip(table.header, table.columns.fields, strict=True)
        done.columns[str(place)] = {column: field for column, field in named if field}
        done.unused[str(place)] = list(table.columns.unused)
        rows = table.read()
    for _, value in rows:
        if isinstance(value, list):
            for one in value:
                done.bad_count += 1
                if len(done.bad) < REPORTED:
                    done.bad.append(BadRow(place, one.line, one.field, one.seen, one.expected))
        elif go_on or not done.bad_count:
            yield value


def _is_json(form: str, place: str, first: Line) -> bool:
    if form:
        return form == "jsonl"
    name = place.lower().removesuffix(".gz")
    if name.endswith((".jsonl", ".ndjson", ".json", ".csv", ".tsv", ".txt")):
        return name.endswith(("json", "jsonl"))
    return first.text.lstrip("\ufeff \t")[:1] == "{"


def _json_lines(lines: Iterator[Line], place: Wording) -> Iterator[tuple[int, Visit | Fact | list[Bad]]]:
    """Yield visits as in a visit file, one per line, or the facts of a dump."""
    expected: dict[str, int] | None = None
    seen: dict[str, int] = {}
    for number, line in lines:
        if not line.strip():
            continue
        try:
            value = json_of(line, "")
            if isinstance(value, dict) and "jackfield" in value:
                expected = _header(value, place, number)
                continue
            if is_fact(value):
                kind = next(iter(value))
                seen[kind] = seen.get(kind, 0) + 1
                yield number, from_object(value, "")
            else:
                yield number, visit_from(value, "")
        except BadInput as mistake:
            yield number, [bad_of(number, mistake)]
    for kind, count in (expected or {}).items():
        if seen.get(kind, 0) != count:
            raise BadInput(
                place,
                Said("seen/lines-of-kind", count=seen.get(kind, 0), kind=kind),
                Said("expected/lines-or-cut-off", lines=count),
            )


FORMAT: Final = 1  #: of a dump


def _header(value: dict[str, Any], place: Wording, number: int) -> dict[str, int]:
    if number != 1 or value["jackfield"] != "dump":
        raise BadInput(
            inside(place, Said("place/line", number=number)),
            value["jackfield"],
            Said("expected/first-line-of-dump"),
        )
    if value.get("format") != FORMAT:
        raise BadInput(
            inside(place, "format"), value.get("format"), Said("expected/older-format", format=FORMAT)
        )
    given = Fields(value, place, Said("expected/object"))
    return given.need("counts", keyed(text.line, whole(0, _LINES, Said("expected/how-many-facts")), 20))


_LINES: Final = 2**53
