"""Serve today's jobs and what must be in the van.

Today's jobs are a job file next to the book, ``today.json``, which ``jackfield pack`` reads as well. Every
job has an id, and an address that names it by ``job=ID`` brings along what is known of the job.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from flask import Flask, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kb.base.atomic import changing_files
from kb.base.errors import BadInput, BookTrouble, described
from kb.domain.words import DriverInput
from kb.pack import Job, Plan, day_from, job_from
from kb.pack.jobs import MOST_JOBS
from kb.settings import TODAY as FILE
from kb.web import private_file as privately
from kb.web.lengths import read_length
from kb.web.site import page, site

_MOST: Final = 1_000_000  # bytes
_LONGEST_ID: Final = 60


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/today", "today", today)
    app.add_url_rule("/today", "change_today", change_today, methods=["POST"])
    app.add_url_rule("/bring", "bring", bring)


def today() -> AnyResponse:
    """The jobs of the day, and a form for one more."""
    return _jobs_page({}, done=request.args.get("done", ""))


def _jobs_page(typed: dict[str, str], code: int = 200, said: str = "", done: str = "") -> AnyResponse:
    data = read_jobs()
    finished = data.get("done", [])
    return page(
        "today",
        code,
        jobs=data["jobs"],
        finished=finished,
        just_done=next((one for one in finished if one["id"] == done), None),
        new_id=typed.get("id") or _new_id(),
        named=site().jobs is not None,
        typed=typed,
        said=said,
        inputs=list(DriverInput),
        usual=site().book.settings.inputs,
    )


def bring() -> AnyResponse:
    """What to carry so that every job connects on the first visit, and how sure that is."""
    from kb.book.naming import named_day
    from kb.pack import caveats, chance_text, expected_text, pack, risk_text

    data = read_jobs()
    if not data["jobs"]:
        return redirect(url_for("today"), 303)
    day, notes = named_day(site().book.named, day_from(data))
    plan: Plan = pack(day, site().book.expect())
    return page(
        "bring",
        plan=plan,
        notes=notes,
        chance=chance_text(plan),
        caveats=list(caveats(plan)),
        expected_text=expected_text,
        risk_text=risk_text,
    )


def change_today() -> AnyResponse:
    """Add a job, take one as done, or take that back; the file is written whole or not at all.

    Each names its job by id. So a second tap, or a second phone, changes nothing.
    """
    if site().jobs is not None:
        raise BadInput("today", "a job file that was named on the command line", "changes in that file")
    typed = {key: value.strip() for key, value in request.form.items() if key != "form_token"}
    with changing_files(site().books.home):
        data = read_jobs()
        before = _written(data)
        if done := typed.get("done", ""):
            _moved(done, data["jobs"], data.setdefault("done", []))
            data["done"] = data["done"][-MOST_JOBS:]
        elif undone := typed.get("undo", ""):
            _moved(undone, data.get("done", []), data["jobs"])
            if len(data["jobs"]) > MOST_JOBS:
                raise BadInput("today", f"{MOST_JOBS} jobs there", "a day with room for one more")
        elif not any(one["id"] == typed.get("id") for one in (*data["jobs"], *data.get("done", ()))):
            try:
                data["jobs"].append(_job(typed))
                day_from(data)
            except BadInput as wrong:
                return _jobs_page(typed, 422, str(wrong))
        if (after := _written(data)) != before:
            privately.write(_file(), after)
    return redirect(url_for("today", done=done or None), 303)


def _moved(job_id: str, here: list[dict[str, Any]], there: list[dict[str, Any]]) -> None:
    for number, one in enumerate(here):
        if one["id"] == job_id:
            there.append(here.pop(number))
            return


def _written(data: dict[str, Any]) -> bytes:
    kept = {key: value for key, value in data.items() if key != "done" or value}
    return json.dumps(kept, indent=2, ensure_ascii=False).encode()


def _new_id() -> str:
    return secrets.token_hex(6)


def _job(typed: dict[str, str]) -> dict[str, Any]:
    """A job as it was typed, checked as any job file is."""
    job: dict[str, Any] = {key: typed[key] for key in ("make", "model", "job") if typed.get(key)}
    job["id"] = typed.get("id", "")[:_LONGEST_ID] or _new_id()
    if not job.get("make") and not job.get("model"):
        raise BadInput("job, make", described("nothing"), "a make, a model or both")
    job["inputs"] = request.form.getlist("inputs") or list(site().book.settings.inputs)
    job["speakers"] = "free" if typed.get("speakers") == "free" else "needed"
    if typed.get("year"):
        try:
            job["year"] = int(typed["year"])
        except ValueError:
            raise BadInput("job, year", typed["year"], "a number") from None
    if typed.get("length_m"):
        job["length_m"] = round(read_length(typed["length_m"], "job, length"), 3)
    job_from(job, "job")
    return {key: [str(i) for i in value] if key == "inputs" else value for key, value in job.items()}


def read_jobs() -> dict[str, Any]:
    """The job file with its jobs, unchecked. Raises BadInput if it is not a job file."""
    named = site().jobs
    if named is not None:
        from kb.base.inputfiles import read_data

        data, place = read_data(str(named))
    else:
        data, place = _own(), FILE
    whole: dict[str, Any] = data if isinstance(data, dict) else {"jobs": data}
    try:
        if whole.get("jobs"):
            day_from(whole)
        elif whole.get("done"):
            day_from({"jobs": whole["done"]})
    except BadInput as wrong:
        raise wrong.within(place) from None
    taken: set[str] = set()
    found = {key: _with_ids(whole.get(key) or [], taken) for key in ("jobs", "done")}
    return {**whole, **found} if found["done"] else {**whole, "jobs": found["jobs"]}


def _with_ids(jobs: Sequence[dict[str, Any]], taken: set[str]) -> list[dict[str, Any]]:
    """The jobs, each with an id of its own: its content's digest if the file does not give one.

    The same file gives the same ids at every request.
    """
    named = []
    for job in jobs:
        job_id = str(job.get("id") or "")
        for number in range(len(taken) + 1):
            if job_id and job_id not in taken:
                break
            content = json.dumps([number, job], sort_keys=True, ensure_ascii=True)
            job_id = hashlib.sha256(content.encode()).hexdigest()[:12]
        taken.add(job_id)
        named.append({**job, "id": job_id})
    return named


def job_asked(given: Mapping[str, str]) -> Job | None:
    """The job that an address names by ``job``, done or not; None if today's list does not have it."""
    wanted = job_id(given)
    if wanted is None:
        return None
    data = read_jobs()
    for one in (*data["jobs"], *data.get("done", ())):
        if one["id"] == wanted:
            return job_from(one, "job")
    return None


def job_id(given: Mapping[str, str]) -> str | None:
    """The id of a job that an address names, whether today's list has it or not."""
    return given.get("job", "")[:_LONGEST_ID] or None


def of_job(given: Mapping[str, str]) -> dict[str, str]:
    """The part of an address that carries on the job that it is for."""
    named = job_id(given)
    return {"job": named} if named else {}


def open_job(job_id: str) -> dict[str, Any] | None:
    """The job of today with this id that is not done yet and can be taken as done here."""
    if not job_id or site().jobs is not None:
        return None
    return next((one for one in read_jobs()["jobs"] if one["id"] == job_id), None)


def _own() -> Any:
    try:
        raw = _file().read_bytes()
    except FileNotFoundError:
        return {"jobs": []}
    except OSError as problem:
        raise BookTrouble(f"{FILE}: {problem.strerror}") from problem
    try:
        if len(raw) > _MOST:
            raise ValueError
        return json.loads(raw)
    except (ValueError, RecursionError):
        raise BadInput(FILE, "something else", "a job file as JSON") from None


def _file() -> Path:
    return site().books.home / FILE
