"""Serve today's jobs and what must be in the van.

Today's jobs are a job file next to the book, ``today.json``, which ``jackfield pack`` reads as well.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from flask import Flask, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kb.base.atomic import changing_files
from kb.base.errors import BadInput, BookTrouble, described
from kb.domain.words import DriverInput
from kb.pack import Plan, day_from, job_from
from kb.settings import TODAY as FILE
from kb.web import private_file as privately
from kb.web.lengths import read_length
from kb.web.site import page, site

_MOST: Final = 1_000_000  # bytes


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/today", "today", today)
    app.add_url_rule("/today", "change_today", change_today, methods=["POST"])
    app.add_url_rule("/bring", "bring", bring)


def today() -> AnyResponse:
    """The jobs of the day, and a form for one more."""
    return _jobs_page({})


def _jobs_page(typed: dict[str, str], code: int = 200, said: str = "") -> AnyResponse:
    return page(
        "today",
        code,
        jobs=read_jobs()["jobs"],
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
    """One more job, or one less; the file is written whole or not at all."""
    if site().jobs is not None:
        raise BadInput("today", "a job file that was named on the command line", "changes in that file")
    typed = {key: value.strip() for key, value in request.form.items() if key != "form_token"}
    with changing_files(site().books.home):
        data = read_jobs()
        done = typed.get("done", "")
        if done.isdecimal() and len(done) < 4:
            if int(done) < len(data["jobs"]):
                del data["jobs"][int(done)]
        else:
            try:
                data["jobs"].append(_job(typed))
                day_from(data)
            except BadInput as wrong:
                return _jobs_page(typed, 422, str(wrong))
        privately.write(_file(), json.dumps(data, indent=2, ensure_ascii=False).encode())
    return redirect(url_for("today"), 303)


def _job(typed: dict[str, str]) -> dict[str, Any]:
    """A job as it was typed, checked as any job file is."""
    job: dict[str, Any] = {key: typed[key] for key in ("make", "model", "job") if typed.get(key)}
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
    if whole.get("jobs"):
        try:
            day_from(whole)
        except BadInput as wrong:
            raise wrong.within(place) from None
    return {**whole, "jobs": list(whole.get("jobs") or [])}


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
