"""job: keep the jobs of installers, from the call to the sheet."""

from __future__ import annotations

from typing import Final

import click

from kb.cli.command import Group

#: Name -> (module under kb.cli, page of the guide), in the order of use.
PARTS: Final[dict[str, tuple[str, str]]] = {
    "add": ("job_change", "jobs"),
    "change": ("job_change", "jobs"),
    "call": ("job_call", "jobs"),
    "done": ("job_change", "jobs"),
    "list": ("job_list", "jobs"),
    "show": ("job_list", "jobs"),
}


@click.group("job", cls=Group, table=PARTS)
def job_command() -> None:
    """
    jackfield job add Norwell --client "Alder" --day tomorrow
    jackfield job list --open
    """
