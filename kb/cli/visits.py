"""visits: find what was done, when and for whom."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any

import click

from kb.base.text import squeezed
from kb.cli.command import command
from kb.cli.common import Session
from kb.cli.days import read_days
from kb.cli.job_option import job_if_there
from kb.domain.words import Outcome

if TYPE_CHECKING:
    from kb.domain.job import Job
    from kb.domain.language import Language
    from kb.domain.visit import Visit


@command("visits")
@click.argument("words", nargs=-1, metavar="[WORD]...")
@click.option("--since", metavar="DATE")
@click.option("--until", metavar="DATE")
@click.option("--by", default="", metavar="INITIALS")
@click.option("--job", "ref", default="", metavar="REF")
@click.option("--outcome", metavar="WORD")
@click.option("--limit", type=click.IntRange(min=1), default=50, show_default=True)
def visits_command(
    session: Session,
    words: tuple[str, ...],
    since: str | None,
    until: str | None,
    by: str,
    ref: str,
    outcome: str | None,
    limit: int,
) -> int:
    """
    jackfield visits --since 2025-11 --by RT --outcome silent
    jackfield visits --job J-1199
    jackfield visits alder
    """
    from kb.store.facts import briefly

    book = session.book_or("error/no-visits-yet")
    first = None if since is None else read_days(session, since, "--since", back=True)[0]
    last = None if until is None else read_days(session, until, "--until", back=True)[1]
    job = job_if_there(session, ref)
    asked = {squeezed(ref), squeezed(job.reference if job else ref)}
    jobs = {squeezed(job.reference): job for job in book.jobs.every() if job.reference}
    with book.store.snapshot() as now:
        found = now.visits_found(
            since=first,
            until=last,
            outcome=None if outcome is None else Outcome.read(outcome, "--outcome"),
            of=lambda person, name: (
                (not by or person.casefold() == by.strip().casefold())
                and (not ref or squeezed(name) in asked)
            ),
        )
        every = ((visit, jobs.get(squeezed(visit.job))) for visit in found)
        fits = (pair for pair in every if all(_says(*pair, word) for word in words))
        pairs = [*islice(fits, limit)][::-1]
        more = next(fits, None) is not None
        brief = briefly(now, [visit.id for visit, _ in pairs])
    if session.as_json:
        session.json({"visits": [_plain(visit, job) for visit, job in pairs], "more": more})
    elif pairs:
        _show(session, pairs, brief)
        if more:
            session.say(session.language("cli/visits/more", count=limit))
    else:
        session.say(session.language("cli/visits/none"))
    return 0 if pairs else 1


def _says(visit: Visit, job: Job | None, word: str) -> bool:
    notes = [
        visit.note,
        *(text for one in visit.findings for text in (one.note, one.setting, one.jack.marking)),
    ]
    parts = [visit.source.make, visit.source.model, visit.by, visit.job, *notes]
    parts += [job.client, job.place, job.note] if job else []
    return squeezed(word) in squeezed(" ".join(parts))


def _plain(visit: Visit, job: Job | None) -> dict[str, Any]:
    from kb.domain.visit import visit_to

    about = {"client": job.client, "place": job.place} if job else {}
    return {**visit_to(visit), **{key: value for key, value in about.items() if value}}


def _show(session: Session, pairs: list[tuple[Visit, Job | None]], brief: dict[str, str]) -> None:
    from kb.cli.tables import print_rows

    rows = (
        (
            brief[visit.id],
            visit.date.isoformat(),
            visit.by,
            ", ".join(filter(None, (visit.job, *((job.client, job.place) if job else ())))),
            f"{visit.source.make} {visit.source.model}: {_done(visit, session.language)}",
        )
        for visit, job in pairs
    )
    print_rows(session, rows, whole=3)


def _done(visit: Visit, said: Language) -> str:
    """What was done there, in one line: each jack that was tried, the repair, readings, the note."""
    parts = [
        f"{said.word(one.jack.signal or one.jack.form)} {said.word(one.outcome)}"
        for one in visit.findings
        if one.outcome is not Outcome.NOT_TRIED
    ]
    parts += [said("cli/visits/readings")] if visit.readings else []
    parts += [said("cli/visits/repair")] if visit.case else []
    parts += [visit.note.replace("\n", " ")] if visit.note else []
    return said("language/join").join(parts) or said("cli/history/jacks", count=len(visit.findings))
