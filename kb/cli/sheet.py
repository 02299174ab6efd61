"""sheet: make the page for client and file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from kb.base import clock, text
from kb.base.errors import BadInput
from kb.base.inputfiles import read_data
from kb.base.messages import LANGUAGES, Said
from kb.base.parsing import stored_json
from kb.cli.command import command
from kb.cli.common import Output, Session
from kb.cli.job_option import job_option
from kb.cli.outputfile import write_out
from kb.cli.path_options import Asked, for_path, path_options
from kb.path import best_to_json
from kb.settings import Units
from kb.sheet.page import CONTACT, Sheet, render
from kb.sheet.paper import Paper

if TYPE_CHECKING:
    from kb.domain.job import Job
    from kb.loop.verdict import Judgement
    from kb.sheet.loop_input import LoopData


@command("sheet")
@path_options
@job_option
@click.option("--readings", "readings_file", metavar="FILE")
@click.option("--loop", "loop_file", metavar="FILE")
@click.option("--lang", type=click.Choice(LANGUAGES))
@click.option("--paper", type=click.Choice([paper.value for paper in Paper]))
@click.option("--contact", metavar="TEXT", default="")
@click.option("--private", is_flag=True)
@click.option("--out", metavar="FILE", type=Output("HTML"), default="sheet.html", show_default=True)
def sheet_command(
    session: Session,
    asked: Asked,
    job_ref: str | None,
    readings_file: str | None,
    loop_file: str | None,
    lang: str | None,
    paper: str | None,
    contact: str,
    private: bool,
    out: str,
) -> int:
    """
    jackfield sheet Norwell NV40-210 --out sheet.html
    jackfield loop --room 5x4 --json > loop.json
    jackfield sheet Norwell NV40-210 --readings readings.toml --loop loop.json
    jackfield sheet Norwell NV40-210 --lang es --paper letter
    jackfield sheet --job J-12
    """
    lang = lang or session.settings.language
    asked, job = for_path(session, asked, job_ref)
    known = asked.view_to_write(session, "sheet")
    length_m = asked.metres(session)
    connection = asked.connect(session, known, length_m)
    sheet = Sheet(
        source=known.source,
        panel=known.panel,
        connection=connection,
        inputs=asked.driver_inputs(session),
        made=clock.today(),
        visits=known.visits,
        driver=asked.driver or (job.driver if job else "" if asked.inputs else session.settings.driver),
        length_m=length_m,
        readings=_readings(readings_file, session, job, lang),
        loop=_loop(loop_file, session, job),
        contact=text.line(contact, "--contact", CONTACT),
        private=private,
        lang=lang,
        paper=asked_paper(session, paper),
    )
    size = write_out(out, render(sheet), "--out")
    if session.as_json:
        session.json(
            {
                "file": out,
                "bytes": size,
                "lang": lang,
                "paper": sheet.paper.value,
                "private": private,
                "make": known.source.make,
                "model": known.source.model,
                "best": best_to_json(connection),
                "readings": sheet.readings.verdict if sheet.readings else None,
                "loop_fits": sheet.loop.fits if sheet.loop else None,
            }
        )
    elif out != "-":
        session.say(session.language("cli/day/written", file=out))
    return 0 if connection.chosen else 1


def asked_paper(session: Session, paper: str | None) -> Paper:
    """The paper as asked, else the one that goes with the user's units."""
    if paper is not None:
        return Paper(paper)
    return Paper.LETTER if session.settings.units is Units.FEET else Paper.A4


def _readings(file: str | None, session: Session, job: Job | None, lang: str) -> Judgement | None:
    """The readings of the file, else the last ones that were recorded for the job."""
    from kb.loop.readings_file import readings_from
    from kb.loop.verdict import judge

    if file is not None:
        data, place = read_data(file)
    elif job is not None and (kept := session.book.jobs.readings_of(job)):
        place = Said("place/job", job=job.reference)
        data = stored_json(kept, place)
    else:
        return None
    try:
        return judge(readings_from(data, lang))
    except BadInput as wrong:
        raise wrong.within(place) from None


def _loop(file: str | None, session: Session, job: Job | None) -> LoopData | None:
    """The loop of the file, else the one that the job's room, route and driver give."""
    from kb.sheet.loop_input import loop_data_from

    if file is not None:
        data, place = read_data(file)
    elif job is not None and job.room:
        from kb.cli.loop import loop_for

        data, place = loop_for(session, job), Said("place/job", job=job.reference)
    else:
        return None
    try:
        return loop_data_from(data)
    except BadInput as wrong:
        raise wrong.within(place) from None
