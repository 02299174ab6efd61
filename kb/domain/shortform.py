"""Read a jack that is written in one word, such as ``opt="OPTICAL OUT":ok,pcm``.

A jack is ``FORM[=MARK][:WORD,WORD...]``. The mark decides about the direction, as in a visit file; ``out``
and ``in`` say it where the mark does not:

>>> [f.jack.direction.value for f in jacks(["opt=OPTICAL OUT:ok,pcm", "hp:mute", "rca=AUDIO", "rca:out"])]
['output', 'output', 'input', 'output']
>>> jacks(["rca", "opt?"])[0].jack.direction.value
'unclear'

Words of other languages are understood as well; ``data/typed_words.json`` has them:

>>> [f.outcome.value for f in jacks(["óptica:sin sonido", "optisch:schwach", "casque:marche"])]
['silent', 'weak', 'carried']
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Any, Final, NoReturn

from kb.base.errors import BadInput
from kb.base.messages import Said, Wording, either, one_of
from kb.base.text import squeezed, words_of_list
from kb.domain import marking
from kb.domain.visit import Finding, finding_from
from kb.domain.words import (
    Direction,
    Form,
    Format,
    Level,
    Outcome,
    Signal,
    Speakers,
    Word,
    spellings,
    typed_words,
)

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
    return head in FORMS or (bool(rest) and _known(head) is not None)


#: A mark in quotes that no shell took off: asked for at a prompt, or made curly by what it was pasted from.
_QUOTED: Final = re.compile(r"""\s*["'“”„«»‘’]([^"“”„«»]+)["'“”«»’]\s*(?::(.*))?\Z""", re.DOTALL)


def fields(token: str, place: Wording = "jack") -> dict[str, Any]:
    """The fields of a visit file's jack for a short form.

    >>> fields("opt=“OPTICAL OUT”:ok")["marking"]
    'OPTICAL OUT'
    """
    head, marked, rest = token.strip().partition("=")
    if marked:
        quoted = _QUOTED.match(rest)
        mark, words = (quoted[1].strip(), _split(quoted[2] or "")) if quoted else _mark_and_words(rest)
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


#: How much of a word must agree, so that it may be the one that was meant.
_CLOSE: Final = 0.6
_SHORT_FIELDS: Final = ("direction", "outcome", "speakers", "level", "format", "taken")
_NOT_SAID: Final = (Outcome.NOT_TRIED.value, Speakers.UNKNOWN.value)


def _fields(head: str, mark: str, words: Iterable[str], place: Wording) -> dict[str, Any]:
    doubtful = head.endswith("?")
    head = head.rstrip("?").strip()
    name = _known(head) or _refuse_form(head, place)
    form, signal = FORMS[name] if name in FORMS else (Form(name), None)
    data: dict[str, Any] = {"form": form, "marking": mark}
    reading = marking.read(form, mark)
    headphone = Signal.HEADPHONE in (signal, reading.signal)
    for (field, value), word in _found(words, headphone=headphone, place=place):
        if data.setdefault(field, value) != value:
            raise BadInput(place, word, Said("expected/one-word-for", field=Said(f"field/{field}")))
    if doubtful:
        data["direction"] = Direction.UNCLEAR
    stated: Direction | None = data.get("direction")
    inward = reading.direction is Direction.INPUT and signal not in (Signal.ARC, Signal.EARC)
    if stated is None and name in _PRINTED and not inward:
        data["direction"] = Direction.OUTPUT
    inward = inward and stated is not Direction.OUTPUT  # a person's word outranks the mark
    if signal in _OF_THE_FORM and stated is not Direction.INPUT and not inward:
        data["signal"] = signal
    return {key: value.value if isinstance(value, Word) else value for key, value in data.items()}


def _known(head: str) -> str | None:
    """The short name or the form that is meant, in the words of any language; None if it is none.

    >>> [_known(head) for head in ("opt", "HP", "cascos", "Optical", "optisch", "T32")]
    ['opt', 'hp', 'hp', 'toslink', 'toslink', None]
    """
    if head in FORMS:
        return head
    form = Form.meant(head)
    return form.value if form is not None else _names().get(squeezed(head))


@cache
def _names() -> dict[str, str]:
    """Short names of jacks by what people type for them."""
    return {squeezed(name): name for name in FORMS} | {
        squeezed(typed): name for typed, name in typed_words("form") if name in FORMS
    }


def _refuse_form(typed: str, place: Wording) -> NoReturn:
    from difflib import get_close_matches

    known = [*FORMS, *(name for name, _ in spellings(Form)), *(name for name, _ in typed_words("form"))]
    near = next(iter(get_close_matches(typed.lower(), known, n=1, cutoff=_CLOSE)), "")
    words = Said("expected/form", words=", ".join(FORMS))
    raise BadInput(place, typed, Said("expected/near", near=near, others=words) if near else words)


#: A field of a jack and the value that a word gives it.
_Meaning = tuple[str, Word | bool]


def _found(words: Iterable[str], *, headphone: bool, place: Wording) -> Iterator[tuple[_Meaning, str]]:
    """What each word says. The other words decide about one that may mean two things.

    Where they leave it open, "stumm" or "silencio" says that no sound came out; at a headphone jack it may
    as well say that the set's speakers go silent, and is refused.
    """
    meant = [(word, _meanings(word)) for word in words]
    for word, meanings in meant:
        if not meanings:
            _refuse(word, place)
    sure = {meanings[0][0] for _, meanings in meant if len(meanings) == 1}
    for word, meanings in meant:
        left = [one for one in meanings if one[0] not in sure] if len(meanings) > 1 else meanings
        if {field for field, _ in left} == {"outcome", "speakers"} and not headphone:
            left = [one for one in left if one[0] == "outcome"]
        if len(left) > 1:
            raise BadInput(place, word, either(map(_explained, left)))
        yield (left or meanings)[0], word


def _explained(meaning: _Meaning) -> Wording:
    field, _ = meaning
    short = next(word for word, one in WORDS.items() if one == meaning)
    return Said("expected/short-word", word=short, field=Said(f"field/{field}"))


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
    known = [bool(_meanings(word)) for word in words]
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


def _meanings(word: str) -> list[_Meaning]:
    """The fields and values that a short or everyday word may mean, in the words of any language.

    >>> _meanings("works"), _meanings("umschaltbar"), _meanings("purple")
    ([('outcome', <Outcome.CARRIED: 'carried'>)], [('level', ...), ('format', ...)], [])
    """
    if word in WORDS:
        return [WORDS[word]]
    meant: list[_Meaning] = [
        (field, found) for field, words in _FIELDS.items() if (found := words.meant(word)) is not None
    ]
    if (use := _uses().get(squeezed(word))) is not None:
        meant.append(WORDS[use])
    return meant if all(one in WORDS.values() for one in meant) else []  # nobody records what is unknown


@cache
def _uses() -> dict[str, str]:
    """``taken`` or ``free`` by what people type for it."""
    return {squeezed(typed): word for typed, word in typed_words("taken")}


def _refuse(word: str, place: Wording) -> NoReturn:
    everyday = [spelled.lower() for words in _FIELDS.values() for spelled, _ in spellings(words)]
    everyday += [typed for typed, _ in typed_words("taken")]
    near = _near(word, _MISTYPED, everyday) or _near(word)
    known = one_of(WORDS)
    raise BadInput(place, word, Said("expected/near", near=near, others=known) if near else known)


def _near(word: str, alike: float = _CLOSE, others: Iterable[str] = ()) -> str:
    """The word that was mistyped or not typed to its end; "" if there is none."""
    from difflib import get_close_matches

    begun = (known for known in WORDS if known.startswith(word))
    return next(iter((*begun, *get_close_matches(word, (*WORDS, *others), n=1, cutoff=alike))), "")
