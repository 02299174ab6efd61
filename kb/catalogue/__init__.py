"""List the cables, converters and driver inputs that exist, with limits and sources.

>>> from kb.catalogue import catalogue
>>> "3.5 mm cable 1 m" in [item.name for item in catalogue().items]
True
"""

from __future__ import annotations

from kb.base.datafiles import data_file
from kb.catalogue.data_files import catalogue, read_catalogue, standard_chances
from kb.catalogue.item_names import item_name
from kb.catalogue.items import (
    GIVEN_UP,
    Catalogue,
    End,
    Far,
    Input,
    Item,
    Near,
    Number,
    Prior,
    Reach,
)
from kb.catalogue.vocabulary import Carried, CautionCode, Part, Power, Role, StepCode

__all__ = [
    "GIVEN_UP",
    "Carried",
    "Catalogue",
    "CautionCode",
    "End",
    "Far",
    "Input",
    "Item",
    "Near",
    "Number",
    "Part",
    "Power",
    "Prior",
    "Reach",
    "Role",
    "StepCode",
    "catalogue",
    "data_file",
    "item_name",
    "read_catalogue",
    "standard_chances",
]
