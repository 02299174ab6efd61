"""job list and show: find jobs and read them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from kb.cli.command import command
from kb.cli.common import Session, text
from kb.cli.days import read_days
from kb.domain.job import Job, JobSet, JobStatus, job_to
from kb.domain.kinds import DeclaredField, fields_of, is_unknown
from kb.domain.language import Language
from kb.domain.words import Word

if TYPE_CHECKING:
    from rich.text import Text


@command("list")
@click.argument("words", nargs=-1, metavar="[WORD]...")
@click.option("--job", "reference", default="", metavar="REF")
@click.option("--client", default="", metavar="TEXT")
@click.option("--place", default="", metavar="TEXT")
@click.option("--set", "set_", default="", metavar="TEXT")
@click.option("--day", default="", metavar="DATE")
@click.option("--by", default="", metavar="INITIALS")
@click.option("--open", "status", flag_value=JobStatus.OPEN.value)
@click.option("--done", "status", flag_value=JobStatus.DONE.value)
@click.option("--called-off", "status", flag_value=JobStatus.CALLED_OFF.value)
def list_command(
    session: Session, words: tuple[str, ...], set_: str, day: str, status: str | None, **said: str
) -> int:
    """
    jackfield job list --open
    jackfield job list alder
    jackfield job list --day 2026-12 --set NV40
    """
    from kb.book.jobs import Wanted

    days = read_days(session, day) if day else None
    wanted = Wanted(words, set=set_, days=days, status=None if status is None else JobStatus(status), **said)
    found = session.book.jobs.find(wanted)
    if session.as_json:
        session.json({"jobs": [job_to(job) for job in found]})
    elif found:
        show_list(session, found)
    else:
        session.say(session.language("cli/job/none"))
    return 0 if found else 1


@command("show")
@click.argument("ref")
@click.option("--states", is_flag=True)
def show_command(session: Session, ref: str, states: bool) -> int:
    """
    jackfield job show J-12
    jackfield job show J-12 --states
    """
    job = session.book.jobs.named(ref)
    every = session.book.jobs.states(job) if states else []
    if session.as_json:
        before = {"states": [{"at": one.at, **job_to(one.job)} for one in every]} if states else {}
        session.json({**job_to(job), **before})
        return 0
    show(session, job)
    for one in every:
        session.console.print()
        session.console.print(text(session.language("cli/job/state", at=one.at), "dim"))
        show(session, one.job)
    return 0


def show_list(session: Session, jobs: Sequence[Job]) -> None:
    """Print one line for each job: day, reference, client, place, sets and status."""
    from kb.cli.tables import print_rows

    print_rows(session, (_row(job, session.language) for job in jobs), whole=2)


def _row(job: Job, said: Language) -> tuple[str | Text, ...]:
    is_open, title = job.status is JobStatus.OPEN, job.title or said("cli/job/no-set")
    return (
        text(job.day or "", "" if is_open else "dim"),
        text(job.reference, "bold"),
        ", ".join(filter(None, (job.client, job.place))),
        title if is_open else f"{title} ({said.word(job.status)})",
    )


def show(session: Session, job: Job) -> None:
    """Print a job: a line for each field that says something."""
    from kb.cli.tables import print_rows

    rows = ((text(label, "dim"), value) for label, value in lines(job, session.language))
    print_rows(session, rows, whole=1)


def lines(job: Job, said: Language) -> Iterator[tuple[str, str]]:
    """Yield label and value of each field of a job that says something, its sets in their place."""
    for one in fields_of(Job):
        held = getattr(job, one.name)
        if one.key == "sets":
            for number, each in enumerate(job.sets, 1):
                label = said("cli/job/set", number=number) if len(job.sets) > 1 else said("cli/job/the-set")
                yield label, set_text(each, said)
        elif held not in (None, "", ()) and one.key != "materials":
            yield label_of(one, said), shown(one, held, said)


def set_text(one: JobSet, said: Language) -> str:
    """Return what is known of a set, as one line."""
    known = [
        f"{label_of(each, said)} {shown(each, held, said)}"
        for each in fields_of(JobSet)
        if each.key not in ("make", "model", "kind")
        and (held := getattr(one, each.name)) not in (None, "")
        and not (each.key in ("answers", "free") and not held)
    ]
    return "; ".join([f"{one.title or said('cli/job/no-set')} ({said.word(one.kind)})", *known])


def label_of(one: DeclaredField, said: Language) -> str:
    """Return what people call a field."""
    key = f"cli/job/field/{one.key}"
    return said(key) if said.has(key) else one.key.replace("_", " ")


def shown(one: DeclaredField, held: Any, said: Language) -> str:
    """Return the value of a field for people."""
    if one.key == "length_m":
        return said.length(held)
    if isinstance(held, tuple):
        parts = [_part(each, said) for each in held]
        return said("language/join").join(parts) if parts else said("cli/job/nothing")
    return _part(held, said)


def _part(value: Any, said: Language) -> str:
    if isinstance(value, tuple):
        name, what = value
        if isinstance(what, bool):
            return f"{_part(name, said)}: {said('cli/job/yes' if what else 'cli/job/no')}"
        return f"{what} x {_part(name, said)}"
    if isinstance(value, Word):
        return said.word(value) if not is_unknown(value) else ""
    return f"{value:g}" if isinstance(value, float) else str(value)
