"""record: record a set's panel and what came of trying it."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base import clock
from kb.base.errors import NOTHING, BadInput, BookTrouble, inside, not_together
from kb.base.inputfiles import MOST_BYTES, read_data, read_text
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.cli.command import command
from kb.cli.common import INCHES, Session, Year, agreed, answering, bare_year, choice, tell_year
from kb.cli.common import text as shown
from kb.cli.days import read_day
from kb.cli.job_option import job_if_there, named_set, set_of
from kb.domain.visit import Visit, finding_to, visit_from, visits_from
from kb.domain.words import Basis, Display, Kind

if TYPE_CHECKING:
    from kb.book.naming import Named
    from kb.domain.job import Job

MOST_COMPARED: Final = 50  #: sets of one file whose names are compared with those of the book


@command("record")
@click.argument("words", nargs=-1, metavar="[MAKE MODEL [YEAR] [JACK]...]")
@click.option("--file", "file", metavar="F")
@click.option("--photo", metavar="F")
@click.option("--date", "on", metavar="DATE")
@click.option("--by", metavar="INITIALS")
@click.option("--basis", type=choice(Basis))
@click.option("--job", metavar="REF")
@click.option("--note", metavar="TEXT")
@click.option("--kind", type=choice(Kind), metavar="KIND")
@click.option("--display", type=choice(Display))
@click.option("--year", type=Year(), metavar="YEAR")
@click.option("--size", "size_in", type=INCHES, metavar="INCHES")
@click.option("--ask", is_flag=True)
@click.option("--new", is_flag=True)
def record_command(
    session: Session,
    words: tuple[str, ...],
    file: str | None,
    photo: str | None,
    ask: bool,
    new: bool,
    on: str | None,
    **said: Any,
) -> int:
    """
    jackfield record --file visit.json
    jackfield record Norwell NV40-210 opt:ok,pcm hp:mute rca=AUDIO:in
    jackfield record
    jackfield record --photo panel.jpg Norwell NV40-210
    """
    from kb.domain.shortform import is_jack

    if file and words:
        raise not_together("record", Said("seen/file-and-line"))
    words = _with_plain_year(session, words)
    job = None if file else job_if_there(session, said["job"])
    if said["job"] and words and is_jack(words[0]):
        job = job or session.book.jobs.named(said["job"])  # its set is meant
        source = named_set(session, job)
        words = (source.make, source.model, *words)
    if photo is not None:
        if file or ask:
            raise BadInput("--photo", Said("seen/file-or-ask"), Said("expected/set-and-photo"))
        return _photo(session, photo, job, words, _common(session, on, _of_job(job, words, said)), new)
    if file:
        visits = read_visits(file)
    elif words:
        visits = [visit_of_line(words, _common(session, on, _of_job(job, words, said)))]
    elif ask or at_terminal():
        from kb.cli.record_dialog import asked_visit

        visit = asked_visit(session, _common(session, on, _of_job(job, words, said)))
        if visit is None:
            session.say(session.language("cli/record/nothing"))
            return 1
        visits = [visit]
    else:
        raise BadInput(
            "record",
            Said("seen/nothing-to-record"),
            Said("expected/file-line-or-terminal"),
        )
    alike: list[Named] = []
    if not new:
        visits, alike = named_as_known(session, visits)
    recorded = session.book.record(visits)
    with answering(session, "recorded"):
        _answer(session, visits, recorded, inferred=bool(file or words))
        for one in alike:
            (name,) = one.near
            session.say(session.language("cli/record/alike", asked=one.asked, name=" ".join(name)))
    _look_at_the_clock(session)
    if job is not None:
        session.book.jobs.met(job.id, visits[0].source)
    return 0


def _look_at_the_clock(session: Session) -> None:
    """Say so if the book has a day that has not come: a clock that lost its battery dates visits wrongly."""
    with session.book.store.snapshot() as now:
        later = next(now.visits_found(since=clock.today() + timedelta(days=2)), None)
    if later is not None:
        from kb.exchange.doctor import ahead

        for warning in ahead([later]):
            session.say(warning.in_language(session.language.code))


def _photo(
    session: Session,
    photo: str,
    job: Job | None,
    words: tuple[str, ...],
    common: dict[str, Any],
    new: bool,
) -> int:
    """Record what is confirmed of a photo; returns the exit code."""
    from kb.cli.record_photo import record_photo

    if job is not None and not words:
        source = named_set(session, job)
        words = (source.make, source.model)
    if left := name_year(common["source"], words, Said("expected/set-year-and-photo")):
        raise BadInput("--photo", " ".join(left), Said("expected/set-year-then-jacks"))

    def named(visit: Visit) -> Visit:
        return visit if new else named_as_known(session, [visit])[0][0]

    def recorded(visit: Visit) -> None:
        if job is not None:
            session.book.jobs.met(job.id, visit.source)

    asks = at_terminal() and not session.as_json
    read, visit = record_photo(session, photo, common, named, recorded, asks=asks)
    return 0 if visit is not None or (read and not asks) else 1


def _of_job(job: Job | None, words: tuple[str, ...], said: dict[str, Any]) -> dict[str, Any]:
    """What was typed of the visit, with what its job says in place of the rest."""
    if job is None:
        return said
    one = set_of(job, words[0] if words else None, words[1] if len(words) > 1 else None)
    known: dict[str, Any] = {"kind": one.kind.value, "display": one.display and one.display.value}
    known |= {"year": one.year, "size_in": one.size_in, "by": job.by or None}
    driver = {"name": job.driver, "inputs": [*job.inputs]} if job.driver or job.inputs else None
    found = {key: known.get(key) if value is None else value for key, value in said.items()}
    return found | {"job": job.reference, "driver": driver}


def at_terminal() -> bool:
    """Can somebody be asked?"""
    return sys.stdin.isatty()


def named_as_known(session: Session, visits: list[Visit]) -> tuple[list[Visit], list[Named]]:
    """The visits, each under the known name that the person confirms, and new names that are like known ones.

    Only a single visit at a terminal is asked about: a file is recorded as it is written.
    """
    sources = list({visit.source.key: visit.source for visit in visits}.values())
    if len(sources) > MOST_COMPARED:
        return visits, []
    try:
        alike = [one for one in session.book.named(sources) if one.note == "taken"]
    except BookTrouble:
        return visits, []  # recording says what is wrong with the book, or makes a new one
    if len(visits) == 1 and alike and at_terminal() and not session.as_json:
        question = session.language("cli/record/did-you-mean", name=" ".join(alike[0].near[0]))
        if agreed(question, True, session.language):
            make, model = alike[0].near[0]
            return [replace(visits[0], source=replace(visits[0].source, make=make, model=model))], []
        return visits, []
    return visits, alike


def _answer(session: Session, visits: list[Visit], recorded: Any, *, inferred: bool) -> None:
    if session.as_json:
        session.json(
            {
                "recorded": [{"visit": r.id, "make": r.make, "model": r.model} for r in recorded.recorded],
                "already": list(recorded.already),
                "reinstated": list(recorded.reinstated),
            }
        )
    else:
        _tell(session, visits, recorded, inferred=inferred)


def read_visits(name: str) -> list[Visit]:
    """All visits of a file; raises BadInput if one of them is wrong, so that nothing is half done."""
    if name.lower().endswith((".jsonl", ".ndjson")):
        text, place = read_text(name, MOST_BYTES, Said("expected/visit-a-line"))
        lines = [(n, line) for n, line in enumerate(text.split("\n"), 1) if line.strip()]
        placed = [(inside(place, Said("place/line", number=n)), line) for n, line in lines]
        return [visit_from(json_of(line, at), at) for at, line in placed]
    data, place = read_data(name)
    if isinstance(data, dict) and set(data) == {"visits"}:
        data = data["visits"]  # TOML has no list at the top: [[visits]]
    visits = visits_from(data, place)
    if not visits:
        raise BadInput(place, NOTHING, Said("expected/visits"))
    return visits


def visit_of_line(words: tuple[str, ...], common: dict[str, Any]) -> Visit:
    """The visit that one line describes: make, model, then jacks in short form."""
    from kb.domain.shortform import jacks

    tokens = name_year(common["source"], words, Said("expected/set-and-jacks"))
    findings = [finding_to(finding) for finding in jacks(tokens)]
    return visit_from({**common, "jacks": findings}, "record")


def _with_plain_year(session: Session, words: tuple[str, ...]) -> tuple[str, ...]:
    """The words of a line, with the year alone where ``2014?`` or ``about 2014`` is typed."""
    for count in (1, 2):
        said = " ".join(words[2 : 2 + count])
        if re.search(r"(?<!\d)\d{4}(?!\d)", said) and not said.isdecimal():
            bare = bare_year(said)
            if bare.isdecimal() and len(bare) == 4:
                tell_year(session, said, int(bare))
                return (*words[:2], bare, *words[2 + count :])
    return words


def name_year(source: dict[str, Any], words: tuple[str, ...], expected: Wording) -> list[str]:
    """Put make, model and a year of a line into ``source``; returns the words that are left."""
    from kb.domain.shortform import FORMS, is_jack

    if len(words) < 2:
        raise BadInput("record", " ".join(words) or NOTHING, expected)
    make, model, *tokens = words
    if is_jack(make) and make not in FORMS:  # a word alone may be a make
        raise BadInput(inside("record", "make"), make, Said("expected/two-words-then-jacks"))
    if is_jack(model):
        raise BadInput(inside("record", "model"), model, Said("expected/two-words-then-jacks"))
    if tokens and tokens[0].isdecimal() and len(tokens[0]) == 4:
        source["year"] = int(tokens.pop(0))
    source |= {"make": make, "model": model}
    return tokens


def _common(session: Session, on: str | None, said: dict[str, Any]) -> dict[str, Any]:
    """What the options and settings say of the visit, in the keys of a visit file."""
    source = {key: said.pop(key) for key in ("kind", "display", "year", "size_in")}
    settings = session.settings
    day = read_day(session, on, "--date", back=True) if on else clock.today()
    visit = {"date": day.isoformat(), "source": source, **said}
    visit["by"] = said.get("by") or settings.initials
    return visit


def _tell(session: Session, visits: list[Visit], recorded: Any, *, inferred: bool) -> None:
    """Say what was recorded, and if ``inferred`` what was read from the marks: a dialogue said it before."""
    from kb.cli.panel_view import inferred_lines

    out, said = session.console, session.language
    if inferred and len(visits) == 1:
        for line in inferred_lines(visits[0], said):
            out.print(line)
    for one in recorded.recorded[:20]:
        out.print(shown(said("cli/recorded", make=one.make, model=one.model)), soft_wrap=True)
    count = len(recorded.recorded)
    if count > 20:
        out.print(shown(said("cli/record/more", more=count - 20, count=count)))
    if count := len(recorded.reinstated):
        out.print(shown(said("cli/record/reinstated", count=count)))
    if count := len(recorded.already) - len(recorded.reinstated):
        out.print(shown(said("cli/record/already", count=count)))
