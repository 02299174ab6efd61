"""List the loop drivers of the catalogue and their inputs.

>>> [one.value for one in driver_inputs()["bench driver"]]
['line-3.5', 'optical']
"""

from __future__ import annotations

import tomllib
from typing import Any

from kb.base.datafiles import data_file
from kb.base.errors import BadInput
from kb.base.text import line
from kb.domain.words import DriverInput


def driver_table() -> dict[str, Any]:
    """``data/drivers.toml`` as parsed: ``[[driver]]`` tables of inputs and of limits (for ``kb.loop``)."""
    return tomllib.loads(data_file("drivers.toml").read_text(encoding="utf-8"))


def driver_inputs() -> dict[str, tuple[DriverInput, ...]]:
    """The inputs of each driver by its name. Raises BadInput naming the entry."""
    found = {}
    for number, entry in enumerate(driver_table().get("driver", ()), 1):
        place = f"data/drivers.toml, driver {number}"
        try:
            found[line(entry.get("name"), "name", empty=False)] = DriverInput.read_all(
                entry.get("inputs"), "inputs"
            )
        except BadInput as mistake:
            raise mistake.within(place) from None
    return found
