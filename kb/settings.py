"""Keep what this installer usually carries and how lengths are shown, in one small file of the home folder.

>>> Settings().inputs, Settings().units.value
((<DriverInput.LINE_35: 'line-3.5'>,), 'metric')
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from kb.base import text
from kb.base.errors import BadInput, BookTrouble, why_of
from kb.base.files import open_plain
from kb.base.messages import Said, Wording, one_of
from kb.base.parsing import toml_of
from kb.base.validation import Fields, listed, number
from kb.domain.plate import Plate
from kb.domain.words import DriverInput, Word

if TYPE_CHECKING:
    from kb.domain.language import Language

FILE: Final = "settings.toml"
BOOK: Final = "book.sqlite"
SHARE: Final = "share.json"
KEY: Final = "share.key"
PHONES: Final = "phones.json"
TODAY: Final = "today.json"
INDEX: Final = "index"
BACKUPS: Final = "backups"
PHOTOS: Final = "photos"
MANUALS: Final = "manuals"
FILES: Final = (BOOK, FILE, SHARE, KEY, PHONES, TODAY)  #: all files that Jackfield keeps in a home
FOLDERS: Final = (INDEX, BACKUPS, PHOTOS, MANUALS)  #: and all folders
HOME: Final = "JACKFIELD_HOME"
_MOST: Final = 65_536  # bytes
_PLATES: Final = 50  #: drivers whose plates are kept


class Units(Word):
    """In which units lengths are shown; files always hold metres."""

    METRIC = "metric", "metres"
    FEET = "feet"


class KeptPlate(NamedTuple):
    """What the plate of a driver says: A, V, rms or peak, ohm; 0: not known."""

    driver: str = ""
    current_a: float = 0.0
    voltage_v: float = 0.0
    plate: Plate = Plate.RMS
    least_load_ohm: float = 0.0


#: The same of the usual driver: keys of the settings.
PLATE_KEYS: Final = tuple(
    name if name.startswith("driver") else f"driver_{name}" for name in KeptPlate._fields
)


@dataclass(frozen=True, slots=True, repr=False)
class Settings:
    """The usual driver with its inputs, units, the initials written into visits, and the language of answers.

    ``driver_current_a`` and ``driver_voltage_v`` (A and V) are those of the driver's plate; 0: not known.
    ``driver_plate`` says whether they are r.m.s. or peak, ``driver_least_load_ohm`` is the least load.
    """

    driver: str = ""
    driver_current_a: float = 0.0
    driver_voltage_v: float = 0.0
    driver_plate: Plate = Plate.RMS
    driver_least_load_ohm: float = 0.0
    inputs: tuple[DriverInput, ...] = (DriverInput.LINE_35,)
    units: Units = Units.METRIC
    initials: str = ""
    language: str = "en"
    plates: tuple[KeptPlate, ...] = ()
    """The plates of other drivers, for when one of them is the usual one again."""

    def with_driver(self, name: str) -> Settings:
        """The settings with another usual driver: each driver keeps its plate, and none is lost."""
        if name.casefold() == self.driver.casefold() or not self.driver:
            return replace(self, driver=name)
        own = KeptPlate(*(getattr(self, key) for key in PLATE_KEYS))
        kept = {one.driver.casefold(): one for one in self.plates}
        if own[1:] != KeptPlate()[1:]:
            kept[own.driver.casefold()] = own
        back = kept.pop(name.casefold(), KeptPlate())._replace(driver=name)
        said: dict[str, Any] = dict(zip(PLATE_KEYS, back, strict=True))
        return replace(self, **said, plates=tuple(kept.values())[-_PLATES:])

    @property
    def reader(self) -> Language:
        """The language of answers, with the units of lengths."""
        from kb.domain.language import language  # most look-ups only ask for the usual driver

        return language(self.language, feet=self.units is Units.FEET)


def default_home() -> Path:
    """The folder in ``JACKFIELD_HOME``, or the platform's place for a user's data."""
    if named := os.environ.get(HOME):
        return Path(named).expanduser()
    from platformdirs import user_data_dir  # only where nobody chose a folder

    return Path(user_data_dir("jackfield", appauthor=False))


def load(home: Path) -> Settings:
    """The settings in ``home``; a missing file or key means the default.

    Raises BadInput naming file and key, BookTrouble where the file cannot be read.
    """
    path = home / FILE
    try:
        with open_plain(path, str(path)) as file:
            raw = file.read(_MOST + 1)
    except FileNotFoundError:
        return Settings()
    except OSError as problem:
        raise BookTrouble(Said("error/place-why", place=path, why=why_of(problem))) from problem
    except BadInput as special:  # a folder or a pipe in its place: nobody typed that
        raise BookTrouble(Said("error/trouble", trouble=special)) from special
    if len(raw) > _MOST:
        raise BadInput(str(path), Said("seen/larger-file"), Said("expected/settings-bytes", most=_MOST))
    try:
        said = raw.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise BadInput(str(path), Said("seen/not-utf-8"), "TOML") from problem
    return _read(toml_of(said, str(path)), str(path))


def save(home: Path, settings: Settings) -> Path:
    """Write the settings, whole or not at all, for this user alone; returns the file. See also ``change``.

    Raises BadInput for a value that ``load`` would refuse, BookTrouble if the file cannot be written.
    """
    path = home / FILE
    lines = [f"{field.name} = {_toml(getattr(settings, field.name))}" for field in fields(settings)]
    written = "\n".join(["# Settings of jackfield; a key that is left out has its usual value.", *lines, ""])
    if _read(toml_of(written, str(path)), str(path)) != settings:
        raise BadInput(str(path), Said("seen/changing-text"), Said("expected/plain-text"))
    from kb.base.atomic import write_mine  # most commands only read settings

    try:
        write_mine(path, written.encode())
    except OSError as problem:
        raise BookTrouble(Said("error/settings-stay", place=path, why=why_of(problem))) from problem
    return path


def change(home: Path, work: Callable[[Settings], Settings]) -> Settings:
    """The settings as ``work`` makes them of those in ``home``, written unless they are the same.

    What another program changes at the same moment is kept. Raises as ``load``, ``work`` and ``save``.
    """
    from kb.base.atomic import changing_files

    with changing_files(home):
        before = load(home)
        after = work(before)
        if after != before:
            save(home, after)
    return after


def _read(data: dict[str, Any], place: Wording) -> Settings:
    given = Fields(data, place, "TOML")
    found = {key: given.take(key, read, None) for key, read in READERS.items()}
    given.end()
    return Settings(**{key: value for key, value in found.items() if value is not None})


def _some_inputs(value: object, place: Wording) -> tuple[DriverInput, ...]:
    inputs = DriverInput.read_all(value, place)
    if not inputs:
        raise BadInput(place, value, Said("expected/at-least-one-input"))
    return inputs


def _plate(most: float, unit: str) -> Callable[[object, Wording], float]:
    """A reader of a number from the driver's plate; 0 means not known."""
    return number(0, most, Said("expected/unit-of-plate", unit=unit, most=f"{most:g}"))


def _language(value: object, place: Wording) -> str:
    """One of the languages with a catalogue of messages."""
    from kb.base.messages import LANGUAGES

    if value not in LANGUAGES:
        raise BadInput(place, value, one_of(LANGUAGES))
    return str(value)


READERS: Final[dict[str, Callable[[object, Wording], Any]]] = {
    "driver": text.line,
    "driver_current_a": _plate(100, "A"),
    "driver_voltage_v": _plate(400, "V"),
    "driver_plate": Plate.read,
    "driver_least_load_ohm": _plate(100, "ohm"),
    "inputs": _some_inputs,
    "units": Units.read,
    "initials": lambda value, key: text.line(value, key, 40),
    "language": _language,
    "plates": lambda value, place: listed(_kept_plate, _PLATES)(value, place),
}


def _kept_plate(value: object, place: Wording) -> KeptPlate:
    five = listed(lambda one, _: one, 5, 5, expected=Said("expected/kept-plate"))(value, place)
    readers = (READERS[key] for key in PLATE_KEYS)
    return KeptPlate(*(read(one, place) for read, one in zip(readers, five, strict=True)))


def _toml(value: str | float | tuple[Any, ...]) -> str:
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, KeptPlate) or (
        value and isinstance(value, tuple) and isinstance(value[0], KeptPlate)
    ):
        return f"[{', '.join(map(_toml, value))}]"
    # Entered text has no control characters (kb.base.text), so a JSON string is a TOML string.
    if isinstance(value, tuple):
        return f"[{', '.join(json.dumps(one.value) for one in value)}]"
    return json.dumps(str(value), ensure_ascii=False)
