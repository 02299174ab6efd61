"""Read a jack that is written in one word, such as ``opt="OPTICAL OUT":ok,pcm``.

A jack is ``FORM[=MARK][:WORD,WORD...]``. The mark decides about the direction, as in a visit file; ``out``
and ``in`` say it where the mark does not:

>>> [f.jack.direction.value for f in jacks(["opt=OPTICAL OUT:ok,pcm", "hp:mute", "rca=AUDIO", "rca:out"])]
['output', 'output', 'input', 'output']
>>> jacks(["rca", "opt?"])[0].jack.direction.value
'unclear'
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from kb.base.errors import BadInput
from kb.base.messages import Said, Wording, one_of
from kb.base.text import words_of_list
from kb.domain import marking
from kb.domain.visit import Finding, finding_from
from kb.domain.words import Direction, Form, Format, Level, Outcome, Signal, Speakers, Word

#: Short names of jacks: what plugs in, and the signal where the short name tells it.
FORMS: Final[Mapping[str, tuple[Form, Signal | None]]] = {
    short.name: (form, short.signal) for form in Form for short in form.short
}

#: Short names that say what is printed: a headphone sign, ARC, eARC.
_PRINTED: Final = frozenset(short.name for form in Form for short in form.short if short.printed)
#: Signals that the short name settles, whatever the mark; the rest follow from form and mark.
_OF_THE_FORM: Final = frozenset(
    {Signal.HEADPHONE, Signal.ARC, Signal.EARC, Signal.OPTICAL, Signal.COAXIAL, Signal.NOT_AUDIO}
)

#: Short words of what was found, and the field they belong to.
WORDS: Final[Mapping[str, tuple[str, Word | bool]]] = {
    "ok": ("outcome", Outcome.CARRIED),
    **{w.value: ("outcome", w) for w in Outcome},
    "in": ("direction", Direction.INPUT),
    "out": ("direction", Direction.OUTPUT),
    "unclear": ("direction", Direction.UNCLEAR),
    "on": ("speakers", Speakers.STAY_ON),
    "stay": ("speakers", Speakers.STAY_ON),
    "menu": ("speakers", Speakers.MUTE_UNLESS_SET),
    **{w.value: ("speakers", w) for w in Speakers if w is not Speakers.UNKNOWN},
    "fixed": ("level", Level.FIXED),
    "var": ("level", Level.VARIABLE),
    "variable": ("level", Level.VARIABLE),
    "fix/var": ("level", Level.SELECTABLE),
    "pcm": ("format", Format.PCM),
    "bits": ("format", Format.BITSTREAM),
    "bitstream": ("format", Format.BITSTREAM),
    "pcm/bits": ("format", Format.SELECTABLE),
    "taken": ("taken", True),
    "free": ("taken", False),
}


def jacks(tokens: Iterable[str]) -> list[Finding]:
    """The findings that a line of jacks describes; raises BadInput naming the jack by number."""
    return [jack(token, Said("place/jack", number=number)) for number, token in enumerate(tokens, 1)]


def jack(token: str, place: Wording = "jack") -> Finding:
    """One jack from its short form."""
    return finding_from(fields(token, place), place)


def is_jack(word: str) -> bool:
    """Does a jack begin here, not the name of a set? A form written out needs a sign after it.

    >>> [is_jack(word) for word in ("opt", "opt:ok", "optical:ok", "Optical", "T32:ok")]
    [True, True, True, False, False]
    """
    head, *rest = re.split("[=:?]", word)
    return head in FORMS or (bool(rest) and Form.meant(head) is not None)


def fields(token: str, place: Wording = "jack") -> dict[str, Any]:
    """The fields of a visit file's jack for a short form."""
    head, marked, rest = token.strip().partition("=")
    if marked:
        mark, words = _mark_and_words(rest)
    else:
        head, _, said = head.partition(":")
        mark, words = "", _split(said)
    return _fields(head, mark, words, place)


def marked(form: str, mark: str, place: Wording = "jack") -> dict[str, Any]:
    """The fields of a jack whose short form was typed alone, and whose mark was asked for."""
    return _fields(form, mark, [], place)


def written(data: Mapping[str, Any]) -> str:
    """The short form of a jack that is in the fields of a visit file.

    Fields that have no short word, such as a menu setting, are left out.

    >>> written({"form": "jack-3.5", "signal": "headphone", "direction": "output", "speakers": "mute"})
    'hp:out,mute'
    """
    form, said = Form(data["form"]), {key: value for key, value in data.items() if value != ""}
    words = [
        next(word for word, meant in WORDS.items() if meant == (field, said[field]))
        for field in _SHORT_FIELDS
        if said.get(field) not in (None, *_NOT_SAID)
    ]
    mark = data.get("marking") or ""
    ended = bool(words) or _mark_and_words(mark) != (mark, [])
    tail = (f"={mark}" if mark else "") + (f":{','.join(words)}" if ended else "")
    every = [head + tail for head in (*(name for name, of in FORMS.items() if of[0] is form), form.value)]
    meant = finding_from(said, "jack")
    return max(every, key=lambda token: _likeness(jack(token), meant))


def _likeness(one: Finding, other: Finding) -> tuple[bool, bool, bool]:
    same = ("direction" in one.inferred) == ("direction" in other.inferred)
    return one.jack == other.jack, one.jack.signal in (None, other.jack.signal), same


_SHORT_FIELDS: Final = ("direction", "outcome", "speakers", "level", "format", "taken")
_NOT_SAID: Final = (Outcome.NOT_TRIED.value, Speakers.UNKNOWN.value)


def _fields(head: str, mark: str, words: Iterable[str], place: Wording) -> dict[str, Any]:
    doubtful = head.endswith("?")
    form, signal = _form(head.rstrip("?").strip(), place)
    data: dict[str, Any] = {"form": form, "marking": mark}
    for word in words:
        field, value = _word(word, place)
        if data.setdefault(field, value) != value:
            raise BadInput(place, word, Said("expected/one-word-for", field=field))
    if doubtful:
        data["direction"] = Direction.UNCLEAR
    reading = marking.read(form, mark)
    stated: Direction | None = data.get("direction")
    inward = reading.direction is Direction.INPUT and signal not in (Signal.ARC, Signal.EARC)
    if stated is None and head in _PRINTED and not inward:
        data["direction"] = Direction.OUTPUT
    inward = inward and stated is not Direction.OUTPUT  # a person's word outranks the mark
    if signal in _OF_THE_FORM and stated is not Direction.INPUT and not inward:
        data["signal"] = signal
    return {key: value.value if isinstance(value, Word) else value for key, value in data.items()}


def _form(name: str, place: Wording) -> tuple[Form, Signal | None]:
    if name in FORMS:
        return FORMS[name]
    try:
        return Form.read(name, place), None
    except BadInput:
        raise BadInput(place, name, Said("expected/form", words=", ".join(FORMS))) from None


def _mark_and_words(rest: str) -> tuple[str, list[str]]:
    """A mark may hold a colon; what follows the last one in small letters is words if each is one.

    If only some are, or all look like one mistyped, they are words as well: what was found must not be lost
    in the mark. After a space they stay a part of the mark. A colon at the end ends the mark. An outcome
    without a colon is none: nobody prints ``ok``.

    >>> [_mark_and_words(rest) for rest in ("AUDIO:ok", "AUDIO:ok:", "ok,pcm")]
    [('AUDIO', ['ok']), ('AUDIO:ok', []), ('', ['ok', 'pcm'])]
    """
    mark, colon, said = rest.rpartition(":")
    words = _split(said)
    if not colon and said == said.lower() and _tells_outcome(words):
        return "", words
    if colon and not words:
        return mark.strip(), []
    if not (colon and words and said == said.lower()):
        return rest.strip(), []
    known = [bool(_meant(word)) for word in words]
    mistyped = not said.startswith(" ") and (any(known) or all(_near(word, _MISTYPED) for word in words))
    return (mark.strip(), words) if all(known) or mistyped else (rest.strip(), [])


def _tells_outcome(words: Iterable[str]) -> bool:
    """Are all of these short words, and is one of them an outcome?"""
    meant = [WORDS.get(word) for word in words]
    return None not in meant and any(one is not None and one[0] == "outcome" for one in meant)


#: How much of a word must agree, so that it is not taken for a part of the mark, such as "arc" for "var".
_MISTYPED: Final = 0.75


def _split(said: str) -> list[str]:
    return [word.lower() for word in words_of_list(said, names=True)]


#: The fields of the short words, for the everyday words of their vocabularies.
_FIELDS: Final[Mapping[str, type[Word]]] = {
    "outcome": Outcome, "speakers": Speakers, "direction": Direction, "level": Level, "format": Format
}  # fmt: skip


def _meant(word: str) -> tuple[str, Word | bool] | None:
    """The field and the word that a short or everyday word means; None if it means none, or two."""
    if word in WORDS:
        return WORDS[word]
    meant = [(field, found) for field, words in _FIELDS.items() if (found := words.meant(word))]
    return meant[0] if len(meant) == 1 else None


def _word(word: str, place: Wording) -> tuple[str, Word | bool]:
    if meant := _meant(word):
        return meant
    near, known = _near(word), one_of(WORDS)
    raise BadInput(place, word, Said("expected/near", near=near, others=known) if near else known)


def _near(word: str, alike: float = 0.6) -> str:
    """The short word that was mistyped or not typed to its end; "" if there is none."""
    from difflib import get_close_matches

    begun = (known for known in WORDS if known.startswith(word))
    return next(iter((*begun, *get_close_matches(word, WORDS, n=1, cutoff=alike))), "")
