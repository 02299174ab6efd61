"""Define what a loop driver is by its plate: the inputs it has and the load it can drive.

>>> driver = {"name": "pad", "rated_current_a_rms": 0.8, "max_voltage_v_rms": 2.0, "source": "its plate"}
>>> drivers_from({"driver": [driver]})[0].max_voltage_v_rms
2.0
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from kb.base.errors import inside
from kb.base.messages import Said
from kb.domain.kinds import Inputs, Name, Number, declared, fields_of
from kb.domain.words import DriverInput


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


def drivers_from(data: Mapping[str, Any]) -> tuple[DriverLimits, ...]:
    """The drivers of a parsed ``drivers.toml`` (``[[driver]]`` tables of declared fields and a source).

    The file is our own: ``tests/test_data_files.py`` holds it against its rules. Raises BadInput for numbers
    that are out of bounds.
    """
    return tuple(
        DriverLimits(**{**row, "inputs": tuple(map(DriverInput, row.get("inputs", ())))})
        for row in data["driver"]
    )
