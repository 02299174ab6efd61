"""job: keep the jobs of installers, from the call to the sheet."""

from __future__ import annotations

from typing import Final

import click

from kb.cli.group import LazyGroup

#: Name -> (module under kb.cli, one line of help), in the order of use.
PARTS: Final[dict[str, tuple[str, str]]] = {
    "add": ("job_change", "Add a job, or the jobs of a file."),
    "change": ("job_change", "Change a job."),
    "call": ("job_call", "Ask on the telephone what shortens the list."),
    "done": ("job_change", "Finish a job, with what was used there."),
    "list": ("job_list", "List jobs, or find one by any of its words."),
    "show": ("job_list", "Show one job."),
}


@click.group("job", cls=LazyGroup, table=PARTS, pages=dict.fromkeys(PARTS, "jobs"))
def job_command() -> None:
    """Keep jobs: where, when, which sets, which driver, and what became of them.

    Jobs are private: they are never shared, but `dump` and `backup` hold them.

    Each part takes --json, --home and --store.

    \b
    jackfield job add Norwell --client "Alder" --day tomorrow
    jackfield job list --open
    """
