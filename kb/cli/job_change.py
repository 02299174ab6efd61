"""job add, change and done: give a job a new state."""

from __future__ import annotations

from typing import Any

import click

from kb.base.errors import NOTHING, BadInput, Stated, not_together
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session, answering, text
from kb.cli.job_fields import job_fields, read_said
from kb.domain.job import Job, JobStatus, changed, job_to


@command("add")
@click.argument("make", required=False)
@click.argument("model", required=False)
@click.option("--file", "file", metavar="F")
@click.option("--loop", "loop", metavar="FILE")
@job_fields
def add_command(
    session: Session,
    typed: dict[str, Any],
    make: str | None,
    model: str | None,
    file: str | None,
    loop: str | None,
) -> int:
    """
    jackfield job add Norwell --client "Alder" --day 2026-12-01 --length 4m
    jackfield job add --client "Alder" --place "7 Mill Lane" --year 2014 --size 40
    jackfield job add --file jobs.toml
    """
    from kb.book.jobs import is_numbered, jobs_in

    if make and is_numbered(make):
        raise BadInput("make", make, Said("expected/make-no-reference", reference=make))
    said = read_said(session, typed)
    for key, value in (("make", make), ("model", model)):
        if value and key in said:
            raise BadInput(key, Stated("error/given-twice", option=f"--{key}"), Said("do/give-once"))
        if value:
            said[key] = value
    said |= _materials(loop)
    if file:
        if said:
            raise not_together("job", Said("seen/file-and-fields"))
        from kb.base.inputfiles import read_data

        jobs = jobs_in(*read_data(file))
    else:
        jobs = (changed(Job(), said),)
        if jobs[0] == Job():
            raise BadInput("job", NOTHING, Said("expected/known-or-file"))
    done = session.book.jobs.add(jobs)
    with answering(session, "added"):
        if session.as_json:
            session.json({"added": [*map(job_to, done.added)], "already": [*map(job_to, done.already)]})
        else:
            for job in done.added:
                session.console.print(text(session.language("cli/job/added", job=job.reference)))
            if done.already:
                session.say(session.language("cli/job/already", count=len(done.already)))
    return 0


@command("change")
@click.argument("ref")
@click.option("--set", "number", type=int, default=0, metavar="N")
@click.option("--loop", "loop", metavar="FILE")
@job_fields
def change_command(session: Session, typed: dict[str, Any], ref: str, number: int, loop: str | None) -> int:
    """
    jackfield job change J-12 --year 2014 --taken optical
    jackfield job change J-12 --set 2 --make Kestering
    jackfield job change J-12 --place ""
    """
    said = read_said(session, typed) | _materials(loop)
    if not said:
        raise BadInput("job", Said("seen/nothing-to-change"), Said("expected/at-least-one-option"))
    job = session.book.jobs.change(ref, lambda before: changed(before, said, number))
    return _changed(session, job)


@command("done")
@click.argument("ref")
@click.option("--used", multiple=True, metavar="ITEM[=COUNT]")
@click.option("--called-off", is_flag=True)
@click.option("--again", is_flag=True)
def done_command(session: Session, ref: str, used: tuple[str, ...], called_off: bool, again: bool) -> int:
    """
    jackfield job done J-12 --used DAC --used "optical cable 2 m=2"
    """
    from kb.base import clock
    from kb.cli.pack import stock_of

    if called_off and again:
        raise not_together("job", Said("seen/two-options", option="--called-off", other="--again"))
    status = JobStatus.CALLED_OFF if called_off else JobStatus.OPEN if again else JobStatus.DONE
    now = stock_of(used, "--used")
    before: dict[str, int] = {}

    def finished(job: Job) -> Job:
        before.update(job.used)
        every = dict(job.used)
        for item, count in now.items():
            every[item] = every.get(item, 0) + count
        said: dict[str, Any] = {"status": status.value, "used": every or None}
        if status is JobStatus.DONE and job.day is None:
            said["day"] = clock.today()
        return changed(job, said)

    job = session.book.jobs.change(ref, finished)
    if before and now:
        session.say(session.language("cli/job/used-more", job=job.reference))
    return _changed(session, job)


def _changed(session: Session, job: Job) -> int:
    with answering(session, "changed"):
        if session.as_json:
            session.json(job_to(job))
        else:
            from kb.cli.job_list import show

            show(session, job)
    return 0


def _materials(file: str | None) -> dict[str, Any]:
    if file is None:
        return {}
    from kb.base.inputfiles import read_data

    return {"materials": read_data(file)[0]}
