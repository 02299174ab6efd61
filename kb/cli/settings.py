"""settings: show and change what this installer usually carries."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import click

from kb.base.messages import LANGUAGES
from kb.base.text import words_of_list
from kb.cli.command import command
from kb.cli.common import Quantity, Session, choice, text
from kb.domain.language import Language
from kb.domain.plate import Plate
from kb.domain.words import DriverInput
from kb.settings import READERS, Settings, Units, change


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
    given = {
        "driver_current_a": _plate("driver_current_a", driver_current, "--driver-current"),
        "driver_voltage_v": _plate("driver_voltage_v", driver_voltage, "--driver-voltage"),
        "driver_plate": driver_plate and Plate(driver_plate),
        "driver_least_load_ohm": _plate("driver_least_load_ohm", driver_least_load, "--driver-least-load"),
        "inputs": None if inputs is None else read_inputs(inputs),
        "units": units and Units(units),
        "initials": initials,
        "language": language,
    }
    typed: dict[str, Any] = {name: value for name, value in given.items() if value is not None}

    def changed(settings: Settings) -> Settings:
        if driver is not None:
            settings = settings.with_driver(driver)  # another driver has another plate
        return replace(settings, **typed)

    before = session.settings
    settings = changed(before)
    if settings != before:
        settings = change(session.folder, changed)
    plate = _said(before, session.language)
    if before.driver and plate and before.plates != settings.plates:
        session.say(session.language("cli/settings/plate-kept", driver=before.driver, plate=plate))
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
        labels = {key: session.language(f"cli/settings/label/{key}") for key in lines}
        wide = max(9, *map(len, labels.values()))
        for key, said in lines.items():
            session.console.print(text(f"{labels[key]:{wide}} {said}"))
    return 0


def _said(settings: Settings, language: Language) -> str:
    """What the plate of the usual driver says; empty if nothing is known of it."""
    numbers = ((settings.driver_current_a, "A"), (settings.driver_voltage_v, "V"))
    plate = [f"{language.shown(value)} {unit}" for value, unit in numbers if value]
    plate += [language.word(Plate.PEAK)] if plate and settings.driver_plate is Plate.PEAK else []
    least = settings.driver_least_load_ohm
    return ", ".join([*plate, *([language("cli/settings/least", ohm=least)] if least else [])])


def _plate(key: str, typed: float | None, option: str) -> Any:
    return None if typed is None else READERS[key](typed, option)


def read_inputs(listed: str) -> tuple[DriverInput, ...]:
    """``line-3.5,optical`` as inputs; raises BadInput naming the invalid one."""
    return DriverInput.read_all(words_of_list(listed), "inputs")
