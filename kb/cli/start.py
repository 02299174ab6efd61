"""Show where to go on when `jackfield` is typed alone: first steps, or today's jobs and the last visits."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

from kb.base import clock
from kb.base.text import cells
from kb.cli.common import text
from kb.cli.session import Session, running

if TYPE_CHECKING:
    from kb.domain.job import Job
    from kb.domain.visit import Visit

LAST: Final = 3  #: visits that are shown
_SET: Final = "Tarnow T32-6"  #: invented
_DRIVER: Final = 'jackfield settings --driver "my driver" --inputs line-3.5'
_WORD: Final = re.compile(r"\w[\w./-]*")  #: what no shell and no search takes for anything else
_LONG: Final = 24  #: cells of the words to find, so that the command keeps to one line


def start(session: Session) -> int:
    """Answer `jackfield` alone, with the options of its group; it reads only, and makes no book."""
    with running(session):
        today = clock.today()
        with session.book.as_it_is() as now:
            visits = now.recorded_last(LAST) if now else []
            jobs = session.book.jobs.open_on(today, now)
        after = list(_next(visits[0], jobs) if visits else _first(session.settings.driver))
        if session.as_json:
            from kb.domain.job import job_to
            from kb.domain.visit import visit_to

            session.json(
                {
                    "day": today.isoformat(),
                    "jobs": [job_to(job) for job in jobs],
                    "visits": [visit_to(visit) for visit in visits],
                    "next": [typed for _, typed in after],
                }
            )
        else:
            _show(session, jobs, visits, after)
    return 0


def _first(driver: str) -> Iterator[tuple[str, str]]:
    """Yield the steps of somebody new: the end of the message's key, and the command."""
    yield ("driver/known", "jackfield settings") if driver else ("driver", _DRIVER)
    yield "record", "jackfield record"
    yield "line", f"jackfield record {_SET} opt:ok,pcm hp:mute"
    yield "path", f"jackfield path {_SET}"


def _next(last: Visit, jobs: Sequence[Job]) -> Iterator[tuple[str, str]]:
    """Yield the commands used most, with words of this book."""
    model, make = (" ".join(_WORD.findall(said)) for said in (last.source.model, last.source.make))
    words = [said for said in (model, make) if said and cells(said) <= _LONG]
    yield "find", f"jackfield find {words[0] if words else _SET}"
    yield "pack", f"jackfield pack --day {'today' if jobs else 'tomorrow'}"
    yield "record", "jackfield record"


def _show(
    session: Session, jobs: Sequence[Job], visits: Sequence[Visit], after: Sequence[tuple[str, str]]
) -> None:
    said, out = session.language, session.console
    more = [(f"jackfield {word}", said(f"cli/start/more/{word.strip('-')}")) for word in ("guide", "--help")]
    if jobs:
        out.print(text(said("cli/start/jobs"), "bold"))
        no_set = said("cli/job/no-set")
        _table(session, ((job.reference, job.place or job.client, job.title or no_set) for job in jobs))
    elif visits:
        out.print(text(said("cli/start/no-jobs")))
    if jobs or visits:
        out.print()
    if visits:
        out.print(text(said("cli/start/visits"), "bold"))
        names = ((one.date.isoformat(), f"{one.source.make} {one.source.model}", one.by) for one in visits)
        _table(session, names)
        out.print()
        out.print(text(said("cli/start/next"), "bold"))
        more = [*((typed, said(f"cli/start/next/{key}")) for key, typed in after), *more]
    else:
        out.print(text(said("cli/start/none")))
        for key, typed in after:
            out.print()
            out.print(text(said(f"cli/start/step/{key}", driver=session.settings.driver)))
            out.print(text(f"   {typed}", "cyan"), soft_wrap=True)
        out.print()
    _table(session, more)


def _table(session: Session, rows: Iterable[Sequence[str]]) -> None:
    from rich.padding import Padding

    from kb.cli.tables import FOLDED, WHOLE, fitted, grid

    table = fitted(grid(rows, WHOLE, FOLDED), session.console, session.console.width - 2)
    session.console.print(Padding(table, (0, 0, 0, 2)))
