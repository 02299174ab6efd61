"""Bring a job of the book to a command: what the job says counts where nothing was typed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from kb.base.errors import BadInput, NotFound
from kb.base.messages import Said
from kb.base.text import squeezed
from kb.cli.common import Session
from kb.domain.job import Job, JobSet

if TYPE_CHECKING:
    from kb.domain.visit import Source

job_option = click.option("--job", "job_ref", metavar="REF")


def set_of(job: Job, make: str | None, model: str | None) -> JobSet:
    """Return the set of a job that MAKE MODEL mean, or its only one.

    Raises BadInput if nothing was typed and the job has several.
    """
    if make is None:
        if len(job.known_sets) > 1:
            titles = ", ".join(one.title or one.kind.value for one in job.sets)
            raise BadInput("--job", job.reference, Said("expected/one-set-of-job", titles=titles))
        return job.known_sets[0]
    wanted = squeezed(f"{make}{model or ''}")
    for one in job.known_sets:
        if squeezed(one.title) == wanted:
            return one
    return job.known_sets[0] if len(job.known_sets) == 1 else JobSet()


def named_set(session: Session, job: Job, make: str | None = None, model: str | None = None) -> Source:
    """Return make and model of a job's set as the book spells them. Raises BadInput if the job lacks them."""
    from kb.book.naming import note_text

    source = set_of(job, make, model).source
    if make is not None:
        return replace(source, make=make, model=model or "")
    [found] = session.book.named([source])
    if found.note:
        session.say(note_text(found, session.language))
    if not (found.source.make and found.source.model):
        seen = (
            Said("seen/only", what=source.make or source.model)
            if found.asked
            else Said("seen/nothing-of-set")
        )
        raise BadInput(Said("place/job", job=job.reference), seen, Said("expected/set-here-or-in-job"))
    known = session.book.known(found.source.make, found.source.model)
    return replace(found.source, make=known.source.make, model=known.source.model) if known else found.source


def job_if_there(session: Session, ref: str | None) -> Job | None:
    """Return the job with this reference; None if the book has none: a visit may name any.

    If words of a client mean it, say which it is.
    """
    if not ref:
        return None
    try:
        job = session.book.jobs.named(ref)
    except NotFound:
        return None
    if ref.strip() != job.id and squeezed(ref) != squeezed(job.reference):
        session.say(session.language("cli/job/meant", typed=ref, job=job.reference, client=job.client))
    return job


def loop_of(session: Session, job: Job) -> dict[str, Any]:
    """Return the options of ``jackfield loop`` that a job gives, by their names there."""
    from kb.catalogue.drivers import drivers

    usual = job.driver.casefold() == session.settings.driver.casefold()  # its plate is in the settings
    known = {one.name.casefold() for one in drivers()}
    driver = job.driver if job.driver.casefold() in known and not usual else None
    said = {"room_text": job.room and f"{job.room} m", "route_code": job.route, "driver_name": driver}
    return {name: value for name, value in said.items() if value}
