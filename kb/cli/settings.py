"""settings: what does this installer usually carry, and how are lengths said?"""

from __future__ import annotations

from dataclasses import replace

import click

from kb.cli.common import Session, choice, command_options, text
from kb.settings import Units
from kb.words import DriverInput


@click.command("settings")
@click.option("--driver", metavar="NAME", help="Name of the usual loop driver.")
@click.option("--inputs", metavar="LIST", help=f"Its inputs, with commas: {','.join(DriverInput)}")
@click.option("--units", type=choice(Units), help="How lengths are said.")
@click.option("--initials", metavar="XY", help="Who records.")
@command_options
def settings_command(
    session: Session, driver: str | None, inputs: str | None, units: str | None, initials: str | None
) -> int:
    """Show or change the usual driver, units and initials.

    \b
    jackfield settings
    jackfield settings --driver "bench driver" --inputs line-3.5,optical
    """
    from kb.settings import save

    settings = session.settings
    if driver is not None:
        settings = replace(settings, driver=driver)
    if inputs is not None:
        settings = replace(settings, inputs=read_inputs(inputs))
    if units is not None:
        settings = replace(settings, units=Units(units))
    if initials is not None:
        settings = replace(settings, initials=initials)
    if settings != session.settings:
        save(session.folder, settings)
    shown = {
        "driver": settings.driver,
        "inputs": [one.value for one in settings.inputs],
        "units": settings.units.value,
        "initials": settings.initials,
    }
    if session.as_json:
        session.json(shown)
    else:
        for key, value in shown.items():
            said = ", ".join(value) if isinstance(value, list) else value
            session.console.print(text(f"{key:9} {said or '-'}"))
    return 0


def read_inputs(listed: str) -> tuple[DriverInput, ...]:
    """``line-3.5,optical`` as inputs; raises BadInput naming the one that is none."""
    words = [word.strip() for word in listed.split(",") if word.strip()]
    return DriverInput.read_all(words, "inputs")
