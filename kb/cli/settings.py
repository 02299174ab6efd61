"""settings: show and change what this installer usually carries."""

from __future__ import annotations

from dataclasses import replace

import click

from kb.base.errors import BadInput
from kb.base.messages import LANGUAGES
from kb.base.text import words_of_list
from kb.cli.command import command
from kb.cli.common import Quantity, Session, choice, text
from kb.domain.language import Language
from kb.domain.plate import Plate
from kb.domain.words import DriverInput
from kb.settings import Settings, Units


@command("settings")
@click.option("--driver", metavar="NAME")
@click.option("--driver-current", type=Quantity("A"), metavar="A")
@click.option("--driver-voltage", type=Quantity("V"), metavar="V")
@click.option("--driver-plate", type=choice(Plate))
@click.option("--driver-least-load", type=Quantity("ohm", "Ω"), metavar="OHM")
@click.option("--inputs", metavar="LIST")
@click.option("--units", type=choice(Units))
@click.option("--initials", metavar="XY")
@click.option("--language", type=click.Choice(LANGUAGES))
def settings_command(
    session: Session,
    driver: str | None,
    driver_current: float | None,
    driver_voltage: float | None,
    driver_plate: str | None,
    driver_least_load: float | None,
    inputs: str | None,
    units: str | None,
    initials: str | None,
    language: str | None,
) -> int:
    """
    jackfield settings
    jackfield settings --driver "bench driver" --inputs line-3.5,optical
    """
    from kb.settings import change

    def changed(settings: Settings) -> Settings:
        if driver is not None:
            settings = settings.with_driver(driver)  # another driver has another plate
        if driver_current is not None:
            current = _plate(driver_current, "--driver-current", 100, "A")
            settings = replace(settings, driver_current_a=current)
        if driver_voltage is not None:
            voltage = _plate(driver_voltage, "--driver-voltage", 400, "V")
            settings = replace(settings, driver_voltage_v=voltage)
        if driver_plate is not None:
            settings = replace(settings, driver_plate=Plate(driver_plate))
        if driver_least_load is not None:
            ohm = _plate(driver_least_load, "--driver-least-load", 100, "ohm")
            settings = replace(settings, driver_least_load_ohm=ohm)
        if inputs is not None:
            settings = replace(settings, inputs=read_inputs(inputs))
        if units is not None:
            settings = replace(settings, units=Units(units))
        if initials is not None:
            settings = replace(settings, initials=initials)
        return settings if language is None else replace(settings, language=language)

    before = session.settings
    settings = changed(before)
    if settings != before:
        settings = change(session.folder, changed)
    if before.driver and before.plates != settings.plates:
        session.say(
            session.language(
                "cli/settings/plate-kept", driver=before.driver, plate=_said(before, session.language)
            )
        )
    shown = {
        "driver": settings.driver,
        "driver_current_a": settings.driver_current_a or None,
        "driver_voltage_v": settings.driver_voltage_v or None,
        "driver_plate": settings.driver_plate.value,
        "driver_least_load_ohm": settings.driver_least_load_ohm or None,
        "inputs": [one.value for one in settings.inputs],
        "units": settings.units.value,
        "initials": settings.initials,
        "language": settings.language,
    }
    if session.as_json:
        session.json(shown)
    else:
        lines = {
            "driver": ", ".join(filter(None, [settings.driver or "-", _said(settings, session.language)])),
            "inputs": ", ".join(one.value for one in settings.inputs),
            "units": settings.units.value,
            "initials": settings.initials or "-",
            "language": settings.language,
        }
        for key, said in lines.items():
            session.console.print(text(f"{key:9} {said}"))
    return 0


def _said(settings: Settings, language: Language) -> str:
    """What the plate of the usual driver says; empty if nothing is known of it."""
    plate = [f"{settings.driver_current_a:g} A"] if settings.driver_current_a else []
    plate += [f"{settings.driver_voltage_v:g} V"] if settings.driver_voltage_v else []
    plate += ["peak"] if plate and settings.driver_plate is Plate.PEAK else []
    least = settings.driver_least_load_ohm
    return ", ".join([*plate, *([language("cli/settings/least", ohm=least)] if least else [])])


def _plate(value: float, option: str, most: float, unit: str) -> float:
    if not 0 <= value <= most:
        raise BadInput(option, value, f"{unit} from the plate, at most {most:g}; 0: not known")
    return value


def read_inputs(listed: str) -> tuple[DriverInput, ...]:
    """``line-3.5,optical`` as inputs; raises BadInput naming the invalid one."""
    return DriverInput.read_all(words_of_list(listed), "inputs")
