"""Define what a loop driver is by its plate: the inputs it has and the load it can drive.

>>> driver = {"name": "pad", "rated_current_a_rms": 0.8, "max_voltage_v_rms": 2, "source": "its plate"}
>>> drivers_from({"driver": [driver]})[0].max_voltage_v_rms
2.0
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from kb.base.errors import BadInput, inside
from kb.base.messages import Said, Wording
from kb.base.validation import Fields, listed, sentence
from kb.domain.kinds import Inputs, Name, Number, declared, fields_of, take_fields
from kb.domain.words import DriverInput

MOST_DRIVERS: Final = 500  #: of one file


@dataclass(frozen=True)
class DriverLimits:
    """What a driver can give: ``rated_current_a_rms`` (A), ``max_voltage_v_rms`` (V), ``min_resistance_ohm``.

    ``source`` says where the numbers were read. Raises BadInput for numbers that are out of bounds.
    """

    name: str = field(metadata=declared(Name(), "name"))
    rated_current_a_rms: float = field(
        metadata=declared(
            Number(0.01, 100, unit="A"),
            "rated current",
        )
    )
    max_voltage_v_rms: float = field(metadata=declared(Number(0.1, 400, unit="V"), "voltage"))
    min_resistance_ohm: float = field(
        default=0.0,
        metadata=declared(
            Number(0, 100, unit="ohm"),
            "least resistance",
        ),
    )
    inputs: tuple[DriverInput, ...] = field(default=(), metadata=declared(Inputs(), "inputs"))
    source: str = ""

    def __post_init__(self) -> None:
        for one in fields_of(DriverLimits):
            if isinstance(one.kind, Number):  # the others are read where they are typed
                one.kind.read(getattr(self, one.name), inside(Said("place/driver", name=self.name), one.name))


def drivers_from(data: object, place: Wording = "drivers") -> tuple[DriverLimits, ...]:
    """The drivers of a parsed ``drivers.toml`` (``[[driver]]`` tables of declared fields and a source).

    Raises BadInput naming the table and key, or a name that two tables have.
    """
    tables = Said("expected/tables-of", kind="driver")
    fields = Fields(data, place, tables)
    found = fields.need("driver", listed(_driver, MOST_DRIVERS, 1, expected=tables))
    fields.end()
    names = [driver.name for driver in found]
    if twice := [name for name in names if names.count(name) > 1]:
        raise BadInput(
            inside(place, Said("place/driver", name=twice[0])),
            Said("seen/two-entries"),
            Said("expected/one-entry-a-name"),
        )
    return found


def _driver(data: object, place: Wording) -> DriverLimits:
    fields = Fields(data, place, Said("expected/table"))
    driver = DriverLimits(**take_fields(DriverLimits, fields), source=fields.need("source", sentence))
    fields.end()
    return driver
