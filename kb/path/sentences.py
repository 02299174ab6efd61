"""Turn the codes and values of a path answer into sentences for people.

The key of a sentence in the catalogue of messages is the kind of thing, its code and its variant, such as
``path/step/plug-jack/one-plug``.

>>> from kb.path import Caution
>>> from kb.catalogue import CautionCode
>>> sentence(Caution(CautionCode.OWN_POWER, (("item", "DAC"),)))
'The DAC needs its own outlet, and somebody may unplug it by mistake.'
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, TypeAlias

from kb.base.text import visible
from kb.catalogue import item_name
from kb.domain.language import ENGLISH, Language
from kb.domain.words import DriverInput, Form, Kind, Outcome, Word
from kb.path.answer import Caution, Dac, Question, RuledOut, Step, Value

Statement: TypeAlias = Step | Caution | RuledOut | Dac | Question

_KINDS: Final = {
    Step: "path/step",
    Caution: "path/caution",
    RuledOut: "path/ruled-out",
    Dac: "path/dac",
    Question: "path/question",
}
_ITEMS: Final = ("item", "to", "with")  #: values that name an item of the catalogue


def sentence(said: Statement, language: Language = ENGLISH) -> str:
    """A step, caution, reason or question as one or two sentences; text that people entered has no effect."""
    key = f"{_KINDS[type(said)]}/{said.code}"
    return language(f"{key}/{said.variant}" if said.variant else key, **_filled(said, language))


def together(ruled_out: Sequence[RuledOut], language: Language = ENGLISH) -> list[tuple[list[RuledOut], str]]:
    """Jacks that are out for the same reason, and the reason as it is said of one or of several."""
    alike: dict[str, list[RuledOut]] = {}
    for one in ruled_out:
        alike.setdefault(sentence(one, language), []).append(one)
    return [
        (jacks, why if len(jacks) == 1 else sentence(_of_several(jacks[0]), language))
        for why, jacks in alike.items()
    ]


def _of_several(why: RuledOut) -> RuledOut:
    several = ENGLISH.has(f"path/ruled-out/{why.code}/several")
    return why._replace(variant="several") if several and not why.variant else why


def _filled(said: Statement, language: Language) -> dict[str, object]:
    """The values of one thing said, and the phrases that follow from them."""
    values = dict(said.values)
    filled: dict[str, object] = {name: _shown(name, value, language) for name, value in values.items()}
    form = values.get("form")
    if isinstance(form, Form):
        number = values.get("number")
        filled["jack"] = jack_phrase(
            form, str(values.get("marking", "")), language, number if isinstance(number, int) else 0
        )
    notes = values.get("settings")
    joined = "; ".join(notes) if isinstance(notes, tuple) else ""
    filled["settings"] = language("path/part/settings", settings=joined) if joined else ""
    kind = values.get("kind", Kind.TELEVISION)
    filled["whose"], filled["owner"] = (
        language(f"path/part/whose/{kind}"),
        language(f"path/part/owner/{kind}"),
    )
    filled["click"] = language("path/part/click") if "click" in values else ""
    counts = [(one, values[one]) for one in (Outcome.SILENT, Outcome.DISTORTED) if values.get(one)]
    filled["failures"] = ", ".join(
        language("path/part/times", what=outcome, count=count) for outcome, count in counts
    )
    return filled


def jack_phrase(form: Form, marking: str, language: Language = ENGLISH, number: int = 0) -> str:
    """A jack as sentences call it: ``the optical jack marked OPTICAL OUT``; with a ``number`` if another
    jack would be called the same: ``jack 4, the 3.5 mm jack without a mark``."""
    noun = noun_of(form, language)
    if marking:
        phrase = language("path/part/jack/marked", noun=noun, marking=marking)
    else:  # Bluetooth has no mark to miss
        phrase = noun if form is Form.BLUETOOTH else language("path/part/jack/unmarked", noun=noun)
    return language("path/part/jack/numbered", number=number, jack=phrase) if number else phrase


def noun_of(form: Form, language: Language = ENGLISH) -> str:
    """A connector as sentences call it; one without a phrase of its own by its name."""
    key = f"path/noun/{form}"
    return language(key) if language.has(key) else language("path/noun/any", form=form)


def _shown(name: str, value: Value, language: Language) -> Value:
    if isinstance(value, tuple):
        return ", ".join(language.shown(_as_input(one)) for one in value)
    if isinstance(value, Word) or not isinstance(value, str):
        return value
    if name == "field":
        return language(f"field/{value}")
    return item_name(value, language) if name in _ITEMS else value


def _as_input(value: str) -> str:
    """Inputs of a driver travel as their words; what is no input stays as it is."""
    try:
        return DriverInput(value)
    except ValueError:
        return visible(value)
