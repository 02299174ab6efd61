"""doctor: check book and index, and mend the index."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import click

from kb.base.errors import BadInput, BookTrouble, BookUnavailable, JackfieldError, NoBookYet, NotFound
from kb.base.messages import Said, worded
from kb.cli.command import command
from kb.cli.common import Session, text
from kb.cli.progress import bar

if TYPE_CHECKING:
    from kb.exchange.doctor import Check

#: Checks whose faults are no facts of the book: triggers, indexes and views can be made again.
_MENDED: Final = ("guards", "indexes")
#: Checks of what is around the book, not in it: who may look in, and which day it is.
_AROUND: Final = ("rights", "dates")


@command("doctor")
@click.option("--mend", is_flag=True)
def doctor_command(session: Session, mend: bool) -> int:
    """
    jackfield doctor
    jackfield doctor --mend
    """
    from kb.exchange.doctor import Check, checks, leftovers, mend_schema
    from kb.store.failures import is_of_disk

    said = session.language
    path = None if session.store else session.book.path
    if path is not None and not path.exists():
        raise NotFound(Said("error/no-book", place=path))
    mended: list[str] = []
    try:
        found = checks(session.book.store, path)
    except (BookUnavailable, BadInput):
        raise  # nothing was found out about the book, so nothing is advised
    except NoBookYet as nothing:
        raise NotFound(nothing.said) from None
    except JackfieldError as trouble:
        if is_of_disk(trouble):
            raise
        found = [Check("book", (trouble.in_language(said.code),))]
    if mend and path is not None and any(one.name in _MENDED and not one.ok for one in found):
        mended += [said("cli/doctor/mended", what=worded(one, said.code)) for one in mend_schema(path)]
        found = checks(session.book.store, path)
    whole = all(one.ok for one in found if one.name not in (*_AROUND, *_MENDED))
    index = _index(session)
    if not index.ok and mend and whole:
        with bar(said("cli/progress/index")) as tell:
            session.open_book(tell).reindex()
        mended.append(said("cli/doctor/rebuilt"))
        session.book.index.close()
        index = _index(session)
    found.append(index)
    left = leftovers(session.folder)
    if left and mend:
        for one in left:
            one.unlink(missing_ok=True)
        mended.append(said("cli/doctor/removed", count=len(left)))
        left = []
    found.append(Check("leftovers", tuple(said("cli/doctor/unfinished", file=one.name) for one in left[:5])))
    well = all(one.ok for one in found)
    if session.as_json:
        listed = [
            {"name": one.name, "ok": one.ok, "wrong": [worded(fault, said.code) for fault in one.wrong]}
            for one in found
        ]
        place = str(path) if path else session.book.store.place
        session.json({"book": place, "well": well, "checks": listed, "mended": mended})
        return 0 if well else 1
    out = session.console
    for check in found:
        state = said("cli/doctor/well" if check.ok else "cli/doctor/wrong")
        name = said(f"cli/doctor/check/{check.name}")
        out.print(text(f"{name:11} {state}", "" if check.ok else "bold red"))
        for fault in check.wrong:
            out.print(text(f"    {worded(fault, said.code)}"), soft_wrap=True)
    for done in mended:
        out.print(text(done))
    if not whole and path is None:
        out.print(text(said("cli/doctor/shared-wrong")))
    elif not whole:
        out.print(text(said("cli/doctor/book-wrong")))
    elif not mend and any(not one.ok for one in found if one.name not in _AROUND):
        out.print(text(said("cli/doctor/mend")))
    return 0 if well else 1


def _index(session: Session) -> Check:
    from kb.exchange.doctor import Check

    book = session.book
    if book.index.revision is None and not book.index.folder.exists():
        return Check("index", ())  # nobody has asked anything yet: it is made at the first question
    try:
        wrong = list(book.index.check())[:5]
        with book.store.snapshot() as now:
            seen = book.indexed()
            if not wrong and (seen is None or not now.follows(seen)):
                wrong = [session.language("cli/doctor/other-index")]
    except BookUnavailable:
        raise
    except BookTrouble as trouble:
        wrong = [trouble.in_language(session.language.code)]
    return Check("index", tuple(wrong))
