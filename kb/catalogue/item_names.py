"""Name the items of the catalogue in a language.

>>> from kb.domain.language import language
>>> item_name("optical cable 2 m", language("es")), item_name("optical cable 2 m", language(feet=True))
('cable óptico de 2 m', 'optical cable 2 m (6 ft 7 in)')
"""

from __future__ import annotations

from kb.base.text import squeezed, visible
from kb.catalogue.data_files import catalogue
from kb.domain.language import Language


def item_name(name: str, language: Language) -> str:
    """What people call an item of the catalogue; a name that is not in the catalogue stays as it is."""
    known = catalogue().by_name.get(squeezed(name))
    if known is None:
        return _tool_name(name, language)
    said = known.names.get(language.code, "")
    named = said.replace("{n}", language.shown(known.length_m)) if said else known.name
    with_length = language.feet and "{n}" in known.family
    return f"{named} ({language.length(known.length_m)})" if with_length else named


def _tool_name(name: str, language: Language) -> str:
    """What people call a tool, a fixing or the wire of a loop: ``insulated wire AWG 18`` by its kind."""
    kind, wire, size = name.partition(" wire ")
    key = f"word/item/{kind}{wire.rstrip()}"
    return (
        " ".join(filter(None, (language(key), language.number(visible(size)))))
        if language.has(key)
        else visible(name)
    )
