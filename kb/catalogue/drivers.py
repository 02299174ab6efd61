"""Read the loop drivers of the catalogue, with their inputs and limits.

>>> [one.value for one in next(one for one in drivers() if one.name == "bench driver").inputs]
['line-3.5', 'optical']
"""

from __future__ import annotations

from functools import lru_cache

from kb.base.datafiles import data_tables
from kb.domain.driver import DriverLimits, drivers_from


@lru_cache(maxsize=1)
def drivers() -> tuple[DriverLimits, ...]:
    """The drivers of ``data/drivers.toml`` in its order. Raises BadInput naming the entry."""
    return drivers_from(data_tables("drivers.toml"))
