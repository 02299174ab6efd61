"""day: print the jobs of a day, with what to carry."""

from __future__ import annotations

import click

from kb.base import clock
from kb.cli.command import command
from kb.cli.common import Output, Session, text
from kb.cli.days import read_day
from kb.cli.path_options import assumed_for_jobs


@command("day")
@click.argument("day_text", metavar="[DATE]", required=False)
@click.option("--print", "printed", is_flag=True)
@click.option("--html", "file", metavar="FILE", type=Output("HTML"))
def day_command(session: Session, day_text: str | None, printed: bool, file: str | None) -> int:
    """
    jackfield day
    jackfield day tomorrow --print
    jackfield day 2026-12-01 --html day.html
    """
    from kb.domain.job import job_to

    day = read_day(session, day_text, "DATE") if day_text else clock.today()
    jobs = session.book.jobs.of_day(day)
    if not jobs:
        if session.as_json:
            session.json({"day": day.isoformat(), "jobs": []})
        else:
            session.say(session.language("cli/day/none", day=day.isoformat()))
        return 1
    if printed or file is not None:
        from kb.book.day import day_sheet
        from kb.cli.outputfile import write_out
        from kb.cli.sheet import asked_paper
        from kb.sheet.day import day_page
        from kb.sheet.day import day_text as lines_of

        sheet, notes = day_sheet(session.book, day, session.language)
        for note in (*assumed_for_jobs(session, jobs), *notes):
            session.say(note)
        if file is not None:
            write_out(file, day_page(sheet, session.language, asked_paper(session, None)), "--html")
            if file != "-":
                session.say(session.language("cli/day/written", file=file))
        if printed and not session.as_json:
            for line in lines_of(sheet, session.language, session.console.width):
                session.console.print(text(line), soft_wrap=True)
    elif not session.as_json:
        from kb.cli.job_list import show_list

        show_list(session, jobs)
    if session.as_json:
        session.json({"day": day.isoformat(), "jobs": [job_to(job) for job in jobs]})
    return 0
