"""Serve the jobs of the day and what must be in the van.

The jobs are those of the book, or of a file that was named when the server began. Every job has an id, and an
address that names it by ``job=ID`` brings along what is known of the job.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import Any, Final, NamedTuple

from flask import Flask, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kb.base import clock
from kb.base.errors import NOTHING, BadInput, NotFound
from kb.base.messages import Said
from kb.base.text import squeezed
from kb.catalogue import catalogue, item_name
from kb.domain.job import MOST_USED, Job, JobStatus, Listening, changed, job_to
from kb.domain.visit import Source
from kb.domain.words import DriverInput
from kb.pack import Job as ToPack
from kb.pack import Plan, day_from
from kb.pack.jobs import MOST_JOBS, jobs_of
from kb.web.lengths import read_length
from kb.web.site import language, page, said_of, site

_LONGEST_ID: Final = 60
_USED: Final = "used:"  #: begins the names of the fields of what was used
_TEXTS: Final = ("make", "model", "job", "client", "place", "day")


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/today", "today", today)
    app.add_url_rule("/today", "change_today", change_today, methods=["POST"])
    app.add_url_rule("/bring", "bring", bring)


def today() -> AnyResponse:
    """The jobs of the day, and a form for one more."""
    return _jobs_page({}, done=request.args.get("done", ""), taken_out="used" in request.args)


def _jobs_page(
    typed: dict[str, str], code: int = 200, said: str = "", done: str = "", taken_out: bool = False
) -> AnyResponse:
    named_item = partial(item_name, language=language())
    every = _every()
    just_done = next((job for job in every if job.id == done and job.status is JobStatus.DONE), None)
    finished = [job for job in every if job.status is JobStatus.DONE and _is_today(job)]
    return page(
        "today",
        code,
        jobs=[job for job in every if job.status is JobStatus.OPEN and _is_today(job)],
        earlier=[job for job in every if job.status is JobStatus.OPEN and _is_earlier(job)],
        finished=finished,
        just_done=just_done,
        using=_using(just_done) if just_done and site().jobs is None else None,
        taken_out=taken_out,
        used_text=_used_text,
        used_said=partial(_used_text, name=named_item),
        item_name=named_item,
        most=MOST_USED,
        new_id=typed.get("id") or secrets.token_hex(6),
        named=site().jobs is not None,
        day=clock.today().isoformat(),
        typed=typed,
        said=said,
        inputs=list(DriverInput),
        usual=site().book.settings.inputs,
    )


class Using(NamedTuple):
    """What may have been used at a job: ``first`` with its count and what the van has, then the rest."""

    first: list[tuple[str, int, int]]
    van: list[tuple[str, int]]
    others: list[str]


def _using(job: Job) -> Using:
    """Ask for what the job says already, what its visits named and what its ways take."""
    from kb.book.day import WAYS, connected

    book = site().book
    jobs = book.jobs
    stock = jobs.stock()
    met = [connected(book, one, one.source) for one in jobs_of(job, jobs.inputs_of(job))]
    one_name = catalogue().one_name
    paths = [[[*map(one_name, path.items)] for path in ways[1][:WAYS]] for ways in met if ways]
    likeliest = Counter(item for ways in paths for items in ways[:1] for item in items)
    count = dict(job.used) or Counter(map(one_name, jobs.items_of(job))) or likeliest
    items = dict.fromkeys([*count, *(item for ways in paths for items in ways for item in items)])
    first = [(item, count.get(item, 0), stock.get(item, 0)) for item in items]
    shown = {item for item, *_ in first}
    van = [(item, there) for item, there in stock.items() if item not in shown]
    others = sorted({*catalogue().one_names.values()} - shown - stock.keys())
    return Using(first, van, others)


def _used_text(job: Job, name: Callable[[str], str] = str) -> str:
    return ", ".join(f"{count} × {name(item)}" for item, count in job.used)


def _is_today(job: Job) -> bool:
    return site().jobs is not None or job.day == clock.today()


def _is_earlier(job: Job) -> bool:
    return not _is_today(job) and job.day is not None and job.day < clock.today()


def bring() -> AnyResponse:
    """What to carry so that every job connects on the first visit, and how sure that is."""
    from kb.pack import caveats, chance_text, expected_text, risk_text

    try:
        jobs = None if site().jobs is not None else site().book.jobs.of_day(clock.today())
        plan, notes = _plan(jobs)
    except NotFound:
        return redirect(url_for("today"), 303)
    say = language()
    return page(
        "bring",
        plan=plan,
        counted=jobs is not None and bool(site().book.jobs.stock()),
        notes=notes,
        chance=chance_text(plan, say),
        caveats=list(caveats(plan, say)),
        expected_text=partial(expected_text, language=say),
        risk_text=partial(risk_text, language=say),
        item_name=partial(item_name, language=say),
        addition=say("language/and").join(item_name(one, say) for one in plan.next.items)
        if plan.next
        else "",
    )


def _plan(jobs: Sequence[Job] | None) -> tuple[Plan, list[str]]:
    """Pack for these jobs, or those of the file; say what was not clear of their sets."""
    from kb.book.naming import named_day
    from kb.pack import pack

    book = site().book
    packed = day_from(_of_file()) if jobs is None else book.jobs.packed(jobs)
    day, notes = named_day(book.named, packed, language())
    return pack(day, book.expect()), notes


def change_today() -> AnyResponse:
    """Add a job, take one as done with what was used there, or take that back.

    Each names its job by id, and what was used is told as a whole. So a second tap, or a second phone,
    changes nothing.
    """
    if site().jobs is not None:
        raise BadInput(Said("web/base/today"), Said("seen/web/job-file"), Said("expected/web/in-job-file"))
    typed = {key: value.strip() for key, value in request.form.items() if key != "form_token"}
    jobs = site().book.jobs
    if done := typed.get("done", ""):
        _become(done, JobStatus.DONE)
    elif undone := typed.get("undo", ""):
        _become(undone, JobStatus.OPEN)
    elif done := typed.get("used_at", ""):
        try:
            _take_out(done, _used(typed), typed.get("was", ""))
        except BadInput as wrong:
            return _jobs_page({}, 422, said_of(wrong), done=done)
        return redirect(url_for("today", done=done, used="yes"), 303)
    else:
        try:
            job = _job(typed)
            if len(jobs.of_day(job.day or clock.today())) >= MOST_JOBS:
                room = Said("expected/web/day-with-room")
                raise BadInput(Said("web/today/day"), Said("seen/web/jobs", count=MOST_JOBS), room)
            jobs.add([job])
        except BadInput as wrong:
            return _jobs_page(typed, 422, said_of(wrong))
    return redirect(url_for("today", done=done or None), 303)


def _used(typed: dict[str, str]) -> tuple[tuple[str, int], ...]:
    """The items that were used, with their counts. Raises BadInput naming the item or the count."""
    said: dict[str, Any] = {typed["another"]: 1} if typed.get("another") else {}
    for key, count in typed.items():
        item = key.removeprefix(_USED)
        if item != key and count not in ("", "0"):
            said[item] = int(count) if count.isdecimal() and len(count) < 9 else count
    return changed(Job(), {"used": said}).used


def _take_out(job_id: str, used: tuple[tuple[str, int], ...], was: str) -> None:
    """Keep what was used, unless somebody else changed it after the page with ``was`` was made."""

    def told(job: Job) -> Job:
        if _used_text(job) != was and dict(job.used) != dict(used):
            seen = _used_text(job) or NOTHING
            raise BadInput(Said("web/today/what-used"), seen, Said("expected/web/look-again"))
        return replace(job, used=used)

    with suppress(NotFound):
        site().book.jobs.change(job_id, told)


def _become(job_id: str, status: JobStatus) -> None:
    with suppress(NotFound):  # a job that nobody has any more
        site().book.jobs.change(job_id, lambda job: replace(job, status=status, day=job.day or clock.today()))


def _job(typed: dict[str, str]) -> Job:
    """A job as it was typed, checked as any job file is."""
    said: dict[str, Any] = {key: typed[key] for key in _TEXTS if typed.get(key)}
    if not said.get("make") and not said.get("model"):
        raise BadInput(Said("web/today/make"), NOTHING, Said("expected/web/make-or-model"))
    said.setdefault("day", clock.today())
    said["id"] = typed.get("id", "")[:_LONGEST_ID] or secrets.token_hex(6)
    said["inputs"] = request.form.getlist("inputs") or [*site().book.settings.inputs]
    if typed.get("speakers") in list(Listening):
        said["speakers"] = typed["speakers"]
    if typed.get("year"):
        try:
            said["year"] = int(typed["year"])
        except ValueError:
            raise BadInput(Said("web/today/year"), typed["year"], Said("expected/number")) from None
    if typed.get("length_m"):
        said["length_m"] = round(read_length(typed["length_m"], Said("web/path/distance")), 3)
    return changed(Job(), said)


def _every() -> Sequence[Job]:
    """All jobs, each with an id. Raises BadInput if the file is no job file."""
    if site().jobs is None:
        return site().book.jobs.every()
    from kb.book.jobs import jobs_in

    data = _of_file()
    found: list[Job] = []
    taken: set[str] = set()
    for key, status in (("jobs", JobStatus.OPEN), ("done", JobStatus.DONE)):
        for job in jobs_in(data[key], str(site().jobs)) if data.get(key) else ():
            found.append(replace(job, id=_id_in_file(job, taken), status=status))
            taken.add(found[-1].id)
    return found


def _of_file() -> dict[str, Any]:
    from kb.base.inputfiles import read_data

    data, _ = read_data(str(site().jobs))
    return data if isinstance(data, dict) else {"jobs": data}


def _id_in_file(job: Job, taken: set[str]) -> str:
    """The id of a job of a file, or its content's digest: the same at every request."""
    found = job.id
    for number in range(len(taken) + 1):
        if found and found not in taken:
            break
        content = json.dumps([number, job_to(job)], sort_keys=True, default=str)
        found = hashlib.sha256(content.encode()).hexdigest()[:12]
    return found


def job_asked(given: Mapping[str, str]) -> ToPack | None:
    """The job that an address names by ``job``, done or not, with the set that it names; None without one."""
    job = _with_id(job_id(given))
    if job is None:
        return None
    sets = jobs_of(job, site().book.jobs.inputs_of(job))
    named = squeezed(f"{given.get('make', '')}{given.get('model', '')}")
    return next((one for one in sets if squeezed(one.title) == named), sets[0])


def _with_id(wanted: str | None) -> Job | None:
    return next((job for job in _every() if job.id == wanted), None) if wanted else None


def met(job_id: str, source: Source) -> None:
    """Give the job with this id the name of its set that was found there."""
    if job_id and site().jobs is None:
        with suppress(NotFound):
            site().book.jobs.met(job_id, source)


def job_id(given: Mapping[str, str]) -> str | None:
    """The id of a job that an address names, whether the book has it or not."""
    return given.get("job", "")[:_LONGEST_ID] or None


def of_job(given: Mapping[str, str]) -> dict[str, str]:
    """The part of an address that carries on the job that it is for."""
    named = job_id(given)
    return {"job": named} if named else {}


def open_job(job_id: str) -> Job | None:
    """The job with this id that is not done yet and can be taken as done here."""
    job = None if site().jobs is not None else _with_id(job_id)
    return job if job is not None and job.status is JobStatus.OPEN else None
