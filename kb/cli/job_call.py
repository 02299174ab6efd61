"""job call: ask on the telephone what shortens the list, and read the answers as they come."""

from __future__ import annotations

import sys
from collections import Counter
from typing import TYPE_CHECKING, Any, Final

import click

from kb.cli.command import command
from kb.cli.common import Session, text
from kb.cli.path_options import assumed_for_jobs
from kb.domain.job import Job, changed, job_to
from kb.domain.kinds import write_object

if TYPE_CHECKING:
    from kb.book.call import Heard
    from kb.pack import Plan

_TURNS: Final = 100  #: answers of one call


@command("call")
@click.argument("ref")
@click.argument("words", nargs=-1, metavar="[WHAT WAS SAID]...")
@click.option("--set", "number", type=int, default=0, metavar="N")
@click.option("--ask", is_flag=True)
def call_command(session: Session, ref: str, words: tuple[str, ...], number: int, ask: bool) -> int:
    """
    jackfield job call J-12
    jackfield job call J-12 "a 40-inch from 2014, something in the square jack"
    """
    job = session.book.jobs.named(ref)
    plan = _plan(session, job)
    for note in assumed_for_jobs(session, [job]):
        session.say(note)
    found = None
    if words:
        job, plan, found = _take(session, job, plan, " ".join(words), number)
    elif (ask or sys.stdin.isatty()) and not session.as_json:
        _show(session, plan)
        for _ in range(_TURNS):
            line = click.prompt(">", default="", show_default=False, prompt_suffix=" ", err=True)
            if not line.strip():
                return 0
            job, plan, _ = _take(session, job, plan, line, number)
        return 0
    if session.as_json:
        from kb.pack import to_json

        heard = {"unread": found.unread if found else (), "unsure": found.unsure if found else ()}
        session.json({"job": job_to(job), **heard, **_answer(to_json(plan, session.language))})
    elif not words:
        _show(session, plan)
    return 1 if found and found.unread else 0


def _answer(document: dict[str, Any]) -> dict[str, Any]:
    return {key: document[key] for key in ("items", "certainty", "ask")}


def _plan(session: Session, job: Job) -> Plan:
    from kb.book.naming import named_day
    from kb.pack import pack

    named, _ = named_day(session.book.named, session.book.jobs.packed([job]), session.language)
    return pack(named, session.book.expect())


def _take(session: Session, job: Job, plan: Plan, line: str, number: int) -> tuple[Job, Plan, Heard]:
    """Keep what a line says in the job, and show how the list changes."""
    from kb.book.call import heard
    from kb.cli.job_list import set_text

    said = session.language
    sets = job.known_sets
    known = write_object(sets[max(1, min(number, len(sets))) - 1])
    with session.book.searcher() as searcher:
        found = heard(line, known, plan.ask, searcher.make_of)
    after = plan
    if found.said:
        job = session.book.jobs.change(job.id, lambda before: changed(before, found.said, number))
        after = _plan(session, job)
    for clause in found.unread:
        session.say(said("cli/call/unread", said=clause))
    for clause in found.unsure:
        session.say(said("cli/call/unsure", said=clause))
    if not session.as_json:
        session.console.print(text("; ".join(set_text(one, said) for one in job.known_sets), "dim"))
        _show(session, after, plan)
    return job, after, found


def _show(session: Session, plan: Plan, before: Plan | None = None) -> None:
    """Show the list, how it has changed, how sure it is, and the questions by number."""
    from kb.catalogue import item_name
    from kb.pack import Answer, answer_text, chance_text, question_text

    said, out = session.language, session.console
    now = Counter({line.item: line.count for line in plan.items})
    if before is not None:
        then = Counter({line.item: line.count for line in before.items})
        fewer, more = sorted((then - now).elements()), sorted((now - then).elements())
        items = tuple(sorted(now.elements()))
        change = Answer(1.0, items, plan.certainty, plan.cost, tuple(fewer), tuple(more))
        if fewer or more:
            out.print(text(said("cli/call/change", change=answer_text(change, said)), "bold"))
    listed = said("language/join").join(f"{count} x {item_name(item, said)}" for item, count in now.items())
    out.print(text(said("cli/call/carry", items=listed or said("cli/job/nothing"))))
    out.print(text(f"{chance_text(plan, said)}."))
    for number, ask in enumerate(plan.ask, 1):
        out.print(text(f"  {number}. {question_text(ask, said)}", "bold"))
