"""Read direction and signal from a jack's form and the words printed next to it.

The panel reader. It says what the mark settles and how it knows, and leaves the rest open: a worn or
missing mark is ``unclear``, never guessed (common practice; tying an output to an output can damage both).

>>> from kb.domain.words import Form
>>> read(Form.RCA_PAIR, "AUDIO OUT")
Reading('output', 'analog-line', 'unknown', 'output')
>>> read(Form.RCA_PAIR, "AUDIO").why()
'AUDIO without OUT: the sound of a picture input'
>>> read(Form.TOSLINK, "").direction.value, read(Form.TOSLINK, "").signal.value
('unclear', 'optical')

Which words are known is data (``kb.domain.mark_words``); compounds are read too (``AUDIOAUSGANG``), and worn
words if only one meaning fits. A word that is not known never makes an input.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

from kb.base.text import plain_capitals, visible
from kb.domain.language import ENGLISH, Language
from kb.domain.mark_words import (
    DECODERS,
    DENIALS,
    OWN_PARTS,
    PLUGS,
    RING_OF,
    ROWS,
    SPANISH_DENIAL,
    MarkWords,
    Ring,
)
from kb.domain.words import Colour, Direction, Form, Kind, Level, Signal


@dataclass(frozen=True, slots=True)
class Reading:
    """What the mark settles. ``signal`` is None if the mark leaves it open.

    ``reason`` ends the key of the sentence that says how it is known; ``word`` is a value in that. ``also``
    is the second signal of a combined jack, such as a 3.5 mm jack for line and optical.
    """

    direction: Direction
    signal: Signal | None
    level: Level
    reason: str
    also: Signal | None = None
    word: object = ""

    def why(self, language: Language = ENGLISH) -> str:
        """How it is known, for people."""
        return language(f"marking/{self.reason}", word=self.word)

    def __repr__(self) -> str:
        signal = f"'{self.signal}'" if self.signal else None
        return f"Reading('{self.direction}', {signal}, '{self.level}', {self.reason!r})"


_HEADPHONE = frozenset({"HEADPHONE", "HP"})
_HEADPHONE_SIGNS = "\N{HEADPHONE}\N{ASCENDING NODE}"
_DIGITAL = frozenset({"DIGITAL", "OPTICAL", "COAXIAL"})
_SOUND = frozenset({"AUDIO", "LINE"})
# These are printed next to every pair, inputs and outputs alike.
_CHANNELS = frozenset({"STEREO", "MONO", "LEFT", "RIGHT"})
_AUDIO = _SOUND | _CHANNELS
# What cannot be read, as people write it down; and arrows, which point out of one jack and into another.
_UNREAD: Final = frozenset("?*\u2026_")
#: What Unicode calls arrows, and triangles and hands that point; a quotation mark points at nothing.
_ARROW: Final = re.compile(r"\bARROW|POINTING(?!.*QUOTATION)")

#: Marks that are kept once read: a book has many jacks and few marks. A mark is at most a line.
_KEPT: Final = 4096


@lru_cache(maxsize=_KEPT)
def read(
    form: Form, marking: str, colour: Colour | None = None, languages: frozenset[str] = frozenset()
) -> Reading:
    """What ``form``, ``marking`` and ring ``colour`` settle; never raises.

    ``languages``: those of the panel's other marks (:func:`languages_of`). Short words are believed in these:

    >>> read(Form.RCA_PAIR, "AUDIO UT").direction.value
    'unclear'
    >>> read(Form.RCA_PAIR, "AUDIO UT", languages=languages_of("HÖRLURAR")).direction.value
    'output'
    """
    mark = _understood(marking, languages)
    level = _level(mark.words)
    for rule in _RULES:
        found = rule(form, mark, marking, colour)
        if found is not None:
            direction, signal, reason, *word = found
            return Reading(direction, signal, level, reason, _also(form, mark.words, signal), *word)
    raise AssertionError("the last rule answers always")


def against(
    form: Form, marking: str, colour: Colour | None, direction: Direction, signal: Signal | None = None
) -> Reading | None:
    """What the mark says if it contradicts ``direction``, which somebody who was there is believed for.

    A ``signal`` that the kind of source tells is against no mark.

    >>> against(Form.RCA_PAIR, "AUDIO IN", None, Direction.OUTPUT).why()
    'marked as an input'
    """
    reading = read(form, marking, colour) if marking and signal not in BY_KIND else None
    sides = {Direction.INPUT, Direction.OUTPUT}
    return reading if reading and {reading.direction, direction} == sides else None


def constant_voltage(marking: str) -> bool:
    """Does the mark speak of a 100 V or 70 V line for loudspeakers?"""
    return bool(_understood(marking).printed & {"100V", "70V"})


def balanced(marking: str) -> bool:
    """Does the mark say that the output is balanced: two wires with opposite sound, mono?"""
    return "BALANCED" in _understood(marking).words


def with_picture(form: Form, marking: str) -> bool:
    """Is it a 3.5 mm jack for sound and picture in one four-pole plug?

    >>> with_picture(Form.JACK_35, "AV OUT"), with_picture(Form.RCA_PAIR, "AV OUT")
    (True, False)
    """
    mark = _understood(marking)
    return form is Form.JACK_35 and ("AV" in mark.printed or {"AUDIO", "VIDEO"} <= mark.words)


#: Kinds of source whose HDMI output has their own sound; at a receiver or soundbar it is that of other boxes.
_BOXES: Final = (Kind.SET_TOP_BOX, Kind.PLAYER, Kind.COMPUTER)
BY_KIND: Final = (Signal.HDMI, Signal.USB)  #: signals that the kind of source tells, not the mark


def by_kind(kind: Kind, form: Form, marking: str, *, alone: bool) -> Signal | None:
    """The signal of an output that only the kind of source tells; ``alone``: no other HDMI socket is there.

    >>> by_kind(Kind.PLAYER, Form.HDMI, "HDMI", alone=True).value
    'hdmi'
    >>> by_kind(Kind.TELEVISION, Form.HDMI, "HDMI", alone=True)
    """
    if form is Form.USB:
        return Signal.USB if kind is Kind.COMPUTER else None
    words = _understood(marking).words
    out = "OUT" in words or {"TO", "TV"} <= words or (alone and "IN" not in words)
    return Signal.HDMI if form is Form.HDMI and kind in _BOXES and out else None


#: Kinds of source that a television feeds.
_FED: Final = (Kind.SOUNDBAR, Kind.RECEIVER, Kind.OTHER)


def from_television(kind: Kind, form: Form, marking: str) -> bool:
    """May the mark of this kind of source name the output of the television that feeds it?

    >>> [from_television(kind, Form.TOSLINK, "TV OPTICAL OUT") for kind in (Kind.SOUNDBAR, Kind.TELEVISION)]
    [True, False]
    >>> from_television(Kind.SOUNDBAR, Form.RCA_PAIR, "AUDIO OUT TO TV")
    False
    """
    words = _understood(marking).words
    return kind in _FED and form is not Form.HDMI and {"TV", "OUT"} <= words and not words & {"IN", "TO"}


def says_digital(marking: str) -> bool:
    """Does the mark speak of a digital signal?"""
    return bool(_understood(marking).words & _DIGITAL)


def _also(form: Form, words: frozenset[str], signal: Signal | None) -> Signal | None:
    """The other signal of a 3.5 mm jack whose mark names two."""
    if form not in (Form.JACK_35, Form.MINI_TOSLINK) or _way(words) is Direction.INPUT:
        return None
    if signal is Signal.HEADPHONE:
        return Signal.OPTICAL if "OPTICAL" in words else None
    if signal is Signal.OPTICAL:
        if words & _HEADPHONE:
            return Signal.HEADPHONE
        return Signal.ANALOG_LINE if "LINE" in words else None
    return None


#: Direction, signal, the reason by the end of its key under ``marking/``, and a word in that.
_Found = tuple[Direction, Signal | None, str, *tuple[object, ...]] | None


def _by_form_without_sound(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    if not form.carries:
        return Direction.UNCLEAR, Signal.NOT_AUDIO, "no-sound", form
    return None


def _of_ring(ring: Ring) -> str:
    return f"ring/{ring.form.value}/{ring.colour.value}"


def _by_colour(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    ring = RING_OF.get((form, colour)) if colour else None
    if ring is None or form is not Form.RCA_SINGLE or words & _DIGITAL:
        return None
    if colour is Colour.WHITE and _way(words) is not Direction.OUTPUT:
        return None  # it tells the channel, not the direction
    return _way(words), ring.signal, _of_ring(ring)


def _by_ring(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    """At a 3.5 mm jack whose mark tells nothing: as at a computer."""
    ring = RING_OF.get((form, colour)) if colour else None
    if ring is None or form is not Form.JACK_35 or mark.unread or _worn(mark, marking):
        return None
    return ring.direction, ring.signal, _of_ring(ring)


def _by_no_sound_words(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    if form is Form.SPEAKER_TERMINALS:
        return None
    if "BASS" in words and not words & (_DIGITAL | _HEADPHONE):
        return _way(words), Signal.NOT_AUDIO, "bass"
    if "SHARE" in words and not words & (_DIGITAL | _HEADPHONE | {"SPEAKER", "FRONT"}):
        return _way(words), Signal.NOT_AUDIO, "share"
    if (
        "CONTROL" in words
        and not words & (_HEADPHONE | _AUDIO | _DIGITAL)
        and form not in (Form.HDMI, Form.SCART)
    ):
        return _way(words), Signal.NOT_AUDIO, "control"
    pictures = "VIDEO" in words and not words & (_AUDIO | _DIGITAL | _HEADPHONE)
    if pictures and _way(words) is Direction.OUTPUT and form is not Form.SCART:
        return Direction.OUTPUT, Signal.NOT_AUDIO, "video"
    return None


def _by_hdmi(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    if form is not Form.HDMI:
        return None
    if {"TO", "TV"} <= words:
        if words & {"ARC", "EARC"}:
            return Direction.INPUT, None, "takes-tv"
        return Direction.OUTPUT, None, "hdmi-out"
    if "EARC" in words:
        return Direction.OUTPUT, Signal.EARC, "earc"
    if "ARC" in words:
        return Direction.OUTPUT, Signal.ARC, "arc"
    if {"AUDIO", "RETURN"} <= words or {"RETURN", "CHANNEL"} <= words:
        return Direction.OUTPUT, Signal.ARC, "return"
    if "OUT" in words:
        return Direction.OUTPUT, None, "hdmi-out"
    if _worn(mark, marking):
        return Direction.UNCLEAR, None, "perhaps-arc"
    return Direction.INPUT, None, "hdmi"


def _by_bluetooth(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    if form is not Form.BLUETOOTH:
        return None
    if _way(words) is Direction.INPUT:
        return Direction.INPUT, Signal.WIRELESS, "input"
    return Direction.OUTPUT, Signal.WIRELESS, "bluetooth"


def _by_speaker_terminals(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    ohms = any(
        sign in marking for sign in "\N{OHM SIGN}\N{GREEK CAPITAL LETTER OMEGA}\N{GREEK SMALL LETTER OMEGA}"
    )
    if ohms and form in (Form.JACK_35, Form.JACK_635) and not words & ({"SPEAKER"} | _HEADPHONE):
        return (
            Direction.OUTPUT,
            None,
            "ohms",
        )
    spoken = (ohms or "SPEAKER" in words) and not words & (_HEADPHONE | _DIGITAL)
    if form is not Form.SPEAKER_TERMINALS and not spoken:
        return None
    if _way(words) is Direction.INPUT:
        return Direction.INPUT, Signal.SPEAKER_LEVEL, "input"
    return Direction.OUTPUT, Signal.SPEAKER_LEVEL, "loudspeaker"


def _by_headphone(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    sign = any(c in marking for c in _HEADPHONE_SIGNS)
    if not (sign or words & _HEADPHONE) or form.light:
        return None
    french = "fr" in mark.languages or "EXT" in mark.printed
    if "HP" in words and "HEADPHONE" not in words and not sign and french:
        return Direction.UNCLEAR, None, "hp"
    if _way(words) is Direction.INPUT:
        return Direction.INPUT, Signal.HEADPHONE, "input"
    return Direction.OUTPUT, Signal.HEADPHONE, "headphone"


def _by_digital(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    signal = _digital_signal(form, words)
    if signal is None:
        return None
    way = _way(words)
    why = {
        Direction.OUTPUT: "output",
        Direction.INPUT: "input",
        Direction.UNCLEAR: "not-said" if mark.printed else "no-mark",
    }[way]
    if "FROM" in words and not words & {"IN", "OUT"} and not mark.unread:
        return Direction.INPUT, signal, "takes"
    return way, signal, why


def _by_scart(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    if form is not Form.SCART:
        return None
    if _way(words) is Direction.INPUT:
        return Direction.INPUT, Signal.ANALOG_LINE, "input"
    return Direction.OUTPUT, Signal.ANALOG_LINE, "scart"


def _by_tape(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    if form is not Form.DIN_5 or "TAPE" not in words:
        return None
    return (
        Direction.OUTPUT,
        Signal.ANALOG_LINE,
        "tape",
    )


def _by_way(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    way = _way(words)
    if way is Direction.INPUT:
        return way, Signal.ANALOG_LINE if words & _AUDIO else None, "input"
    if way is Direction.UNCLEAR:
        return None
    if words & _DIGITAL:
        return way, None, "output"
    if form.gives is not None:
        return way, form.gives, "output"
    if form is Form.RCA_SINGLE:
        # A single RCA jack may be mono analog, digital or video: OUT alone does not tell which.
        mono = words & {"MONO", "LEFT", "RIGHT", "LINE"}
        return way, Signal.ANALOG_LINE if mono else None, "output"
    if words & _SOUND or not (mark.unread or "LINK" in words):
        return way, Signal.ANALOG_LINE, "output"
    return way, None, "output-of-what"


_GIVING: Final = _HEADPHONE | {"OUT", "ARC", "EARC", "RETURN"}


def _by_denial(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    """The mark says that this is no output: ``NO OUTPUT``, ``KEIN AUSGANG``, ``HDMI 2 (NO ARC)``."""
    no = DENIALS | {SPANISH_DENIAL} if "es" in mark.languages else DENIALS
    if not mark.printed & no or "IN" in mark.words or not mark.words & _GIVING:
        return None
    tokens = _tokens(marking, marking)
    gives = (any(row.meaning in _GIVING for row in ROWS.get(word, ())) for word in tokens)
    giving = next((at for at, one in enumerate(gives) if one), 0)
    before = len(tokens) if form is Form.HDMI and "OUT" not in mark.words else giving
    # "NO. 1 OUT" is a number
    denied = any(
        word in no and not then.isdecimal()
        for word, then in zip(tokens[:before], [*tokens[1:], ""], strict=False)
    )
    if denied:
        return Direction.UNCLEAR, None, "denied"
    return (Direction.OUTPUT, None, "hdmi-out") if form is Form.HDMI else None


def _by_output_of_another(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    """The mark names the output of another device, from which a cable comes here: ``TO DVD AUDIO OUT``."""
    words = mark.words
    if "OUT" in words and "IN" not in words and mark.printed & DECODERS:
        return Direction.UNCLEAR, None, "plugs-in"  # to it or from it: ``AUDIO (SORTIE DÉCODEUR)``
    sent = "TO" in words and bool(words & {"DEVICE", "TV"})
    if "OUT" not in words or "IN" in words or not ("FROM" in words or sent):
        return None
    printed = plain_capitals(marking).split()
    meant = [{row.meaning for row in ROWS.get(word, ())} for word in printed]
    first = next((one for one in meant if one & {"TO", "FROM", "OUT"}), set())
    origin = next((printed[at + 1 :] for at, one in enumerate(meant) if "FROM" in one), [])
    own = bool(origin) and OWN_PARTS.issuperset(origin)  # ``LINE OUT FROM TUNER`` is of the set itself
    gives = "OUT" in first and (own or "FROM" not in words)
    return None if gives else (Direction.UNCLEAR, None, "plugs-in")


def denied(form: Form, marking: str, colour: Colour | None) -> bool:
    """Does the mark say that this is no output?"""
    return read(form, marking, colour).reason == "denied"


def _by_other_end(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    if mark.unread or words & {"IN", "OUT"} or words & _DIGITAL:
        return None
    if "FROM" in words or {"TAPE", "PLAY"} <= words:
        return Direction.INPUT, None, "takes"
    recorded = "TAPE" in words and "RECORD" in words
    if recorded or ("TO" in words and words & {"AMPLIFIER", "RECORDER"}):
        return Direction.OUTPUT, Signal.ANALOG_LINE, "feeds"
    return None


def _by_picture_input(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    words = mark.words
    if {"IN", "OUT"} <= words:
        return Direction.UNCLEAR, None, "both"
    if "MICROPHONE" in words:
        return Direction.INPUT, None, "microphone"
    if _worn(mark, marking):
        return Direction.UNCLEAR, None, "perhaps-out"
    if mark.unread:
        said = " ".join(sorted(mark.unread))
        return Direction.UNCLEAR, None, "not-known", visible(said)[:40]
    if words & {"FIXED", "VARIABLE"}:
        return Direction.UNCLEAR, None, "level-alone"
    if "TO" in words:
        return Direction.UNCLEAR, None, "plugs-in"
    if words & {"DEVICE", "VIDEO"}:
        return Direction.INPUT, None, "named-after"
    if words & _SOUND:
        return Direction.INPUT, None, "audio"
    return None


def _unclear(form: Form, mark: Mark, marking: str, colour: Colour | None) -> _Found:
    said = "open" if mark.printed else "no-mark"
    return Direction.UNCLEAR, None, said


#: The rules in order; the first that answers is believed.
_RULES = (
    _by_form_without_sound,
    _by_colour,
    _by_no_sound_words,
    _by_denial,
    _by_hdmi,
    _by_bluetooth,
    _by_speaker_terminals,
    _by_output_of_another,
    _by_headphone,
    _by_digital,
    _by_scart,
    _by_tape,
    _by_way,
    _by_other_end,
    _by_picture_input,
    _by_ring,
    _unclear,
)


class Mark(NamedTuple):
    """A mark as it is understood."""

    words: frozenset[str]
    """The meanings of its words (``kb.domain.mark_words``)."""
    unread: frozenset[str]
    """Words that the table does not have, and that are no numbers."""
    languages: frozenset[str]
    """The languages that its words belong to, international words aside."""
    own: frozenset[str]
    """Those of words that no other language has."""
    printed: frozenset[str]
    """The words as they are printed, in plain capitals."""


#: What makers print apart or with signs, and the word that it is.
_JOINED: Final = (
    (" S PDIF ", " SPDIF "),
    (" S VIDEO ", " SVIDEO "),
    (" A V ", " AV "),
    (" RS 232C ", " RS232C "),
    (" RS 232 ", " RS232 "),
    (" Y PB PR ", " YPBPR "),
    (" E ARC ", " EARC "),
    (" H P ", " HP "),
    (" H PHONE ", " HEADPHONE "),
    (" H PHONES ", " HEADPHONE "),
    (" HPHONE ", " HEADPHONE "),
    (" HI FI ", " HIFI "),
    (" BLU RAY ", " BLURAY "),
    (" 100 V ", " 100V "),
    (" 70 V ", " 70V "),
    (" HAUT PARLEUR", " HAUTPARLEUR"),
)
_PARTS: Final = re.compile(r"[0-9]+|[^0-9 ]+")
#: Beyond this Unicode has the scripts without blanks, and the two letters below.
_LAST_LETTER: Final = "\u2fff"
#: One letter, and any number of letters, that cannot be read: letters of no panel stand for them.
_LETTER: Final = "\ua66e"
_LETTERS: Final = "\ua500"
_HIDDEN: Final = re.compile(r"(\u2026|\.\.+)|[?*_]|(?<![^\W_])\.(?=[^\W_])")


@lru_cache(maxsize=_KEPT)
def _understood(marking: str, others: frozenset[str] = frozenset()) -> Mark:
    """Read the words of a mark by the table, worn ones if only one meaning fits."""
    hidden = _HIDDEN.sub(lambda found: f" {_LETTERS} " if found[1] else f" {_LETTER} ", marking)
    printed, unread, rows = set(), set(), []
    tokens = _tokens(marking, hidden)
    for token in tokens:
        printed.add(token)
        found = _rows_of(token, last=token is tokens[-1] and hidden != marking)
        if found:
            rows.append(found)
        elif not token.isdecimal():
            unread.add(token)
    languages = {row.language for some in rows for row in some if row.language and not row.needs} | others
    own = others | {some[0].language for some in rows if len({row.language for row in some}) == 1}
    words = set()
    pairs = _side_pairs(printed)
    for some in rows:
        sure = [row for row in some if not row.needs or row.language in languages or row.language in pairs]
        # A word that several languages have is of the one that another word of the mark speaks for.
        words |= {row.meaning for row in sorted(sure, key=lambda row: row.language not in own)[:1]}
        if not sure:
            unread |= {word for word in printed if ROWS.get(word) == some}
    return Mark(
        frozenset(words - {"OF"}),
        frozenset(unread),
        frozenset(languages - others),
        frozenset(own - others - {""}),
        frozenset(printed - {_LETTER, _LETTERS}),
    )


def _side_pairs(printed: set[str]) -> set[str]:
    """Languages of which both one-letter words for left and right are printed: ``G/D``, ``V/H``."""
    sides: dict[str, set[str]] = {}
    for word in printed:
        for row in ROWS.get(word, ()):
            if row.meaning in ("LEFT", "RIGHT") and len(word) == 1:
                sides.setdefault(row.language, set()).add(row.meaning)
    shared = sides.get("", set())
    return {language for language, found in sides.items() if len(found | shared) == 2 and language}


def _tokens(marking: str, hidden: str) -> list[str]:
    """The words of a mark in plain capitals: letters apart from digits, worn words in one piece."""
    text = hidden
    for sign in (_LETTER, _LETTERS):  # a sign that cannot be read belongs to the letters that it touches
        if sign in text:
            text = re.sub(rf"(?<=\w) {sign}", sign, text)
            text = re.sub(rf"{sign} (?=\w)", sign, text)
    text = f" {plain_capitals(text)} "
    for apart, joined in _JOINED:
        text = text.replace(apart, joined)
    found: list[str] = []
    for word in text.split():
        for part in [word] if word in ROWS else _PARTS.findall(word):
            found += _split(part)
    return found


def _split(word: str) -> list[str]:
    """A compound as the words in it: ``KOPFHORERAUSGANG`` is KOPFHORER and AUSGANG."""
    if any(c > _LAST_LETTER for c in word):
        return _split_signs(word)
    best: dict[int, list[str]] = {0: []}
    for end in range(2, len(word) + 1):
        for start in range(max(0, end - 20), end - 1):
            part = word[start:end]
            known = part in ROWS and not all(row.needs for row in ROWS[part])
            for begin in (start, start - 1 if start > 2 and word[start - 1] == "S" else start):
                if known and begin in best and end not in best:
                    best[end] = [*best[begin], part]
    return best.get(len(word), [word])


def _split_signs(word: str) -> list[str]:
    """Words of a script without blanks, the longest first; what is left is a word that is not known."""
    found, rest = [], word
    for known in _SIGNS:
        if known in rest:
            found.append(known)
            rest = rest.replace(known, " ")
    return [*found, *rest.split()]


_SIGNS: Final = tuple(sorted((word for word in ROWS if word[0] > _LAST_LETTER), key=len, reverse=True))


def _rows_of(token: str, last: bool) -> list[MarkWords]:
    """The rows of a word. Of a worn word those that fit, if all fitting words mean the same."""
    known = ROWS.get(token, [])
    if known and not (last and all(row.needs for row in known)):
        return known
    left = token.replace(_LETTER, " ").replace(_LETTERS, " ")
    if left != token and re.search(r"\w\w", left):
        pattern = re.escape(token).replace(_LETTERS, r"\w+").replace(_LETTER, r"\w")
    elif last and len(token) > 1 and token.isascii() and token.isalpha():
        pattern = rf"{token}\w+"  # the end of a mark that is worn elsewhere, too
    else:
        return known
    words = [rows for word, rows in ROWS.items() if re.fullmatch(pattern, word)]
    fits = [row for rows in words for row in rows if not row.needs and row.meaning != "OF"]
    return fits if len({row.meaning for row in fits}) == 1 else known


def languages_of(marking: str) -> frozenset[str]:
    """The languages of words that no other language has."""
    return _understood(marking).own


def words_of(marking: str) -> frozenset[str]:
    """The meanings of a mark's words, such as ``LEFT`` or ``MONO``."""
    return _understood(marking).words


def unread_words(marking: str) -> frozenset[str]:
    """The words of a mark that the table does not have, in plain capitals; numbers are none."""
    return _understood(marking).unread


@lru_cache(maxsize=_KEPT)
def form_of(marking: str) -> Form | None:
    """What plugs in where this is printed; None if the words do not settle it.

    >>> [form_of(mark) for mark in ("HDMI 2 (ARC)", "OPTICAL OUT", "L AUDIO R", "AUDIO OUT")]
    [<Form.HDMI: 'hdmi'>, <Form.TOSLINK: 'toslink'>, <Form.RCA_PAIR: 'rca-pair'>, None]
    """
    mark = _understood(marking)
    if {"AUDIO", "IN"} <= mark.words and mark.printed & {"HDMI", "DVI", "PC"}:
        return Form.JACK_35  # the sound that belongs to a picture input
    for form, words in PLUGS:
        if (mark.words | mark.printed) & words:
            return form
    if {"LEFT", "RIGHT"} <= mark.words:
        return Form.RCA_PAIR
    return Form.RCA_SINGLE if "VIDEO" in mark.words and not mark.words & (_SOUND | {"DEVICE"}) else None


def without_side(marking: str) -> frozenset[str]:
    """A mark's words but those for left, right and mono: the same for two jacks that belong together."""
    mark = _understood(marking)
    return (
        mark.words - {"LEFT", "RIGHT", "MONO"}
        | mark.unread
        | {one for one in mark.printed if one.isdecimal()}
    )


def _way(words: frozenset[str]) -> Direction:
    out, inward = "OUT" in words, "IN" in words
    if out == inward:
        return Direction.UNCLEAR
    return Direction.OUTPUT if out else Direction.INPUT


def _worn(mark: Mark, marking: str) -> bool:
    """Is part of the mark unread, or a word that may be what is left of OUT?"""
    left = (word for word in mark.unread if len(word) > 1 or word in "OU")
    hidden = any(_LETTER in word or _LETTERS in word for word in mark.unread)
    arrow = _has_arrow(marking)
    worn = ".." in marking or not _UNREAD.isdisjoint(marking)
    shown = arrow or (worn and (hidden or not mark.words))
    return shown or any(word in "OUTPUT" for word in left)


def _has_arrow(marking: str) -> bool:
    if "<" in marking or ">" in marking:
        return True
    return not marking.isascii() and any(_ARROW.search(unicodedata.name(char, "")) for char in marking)


def _digital_signal(form: Form, words: frozenset[str]) -> Signal | None:
    if form.light:
        return Signal.OPTICAL
    if form is Form.RCA_SINGLE and words & _DIGITAL:
        return Signal.COAXIAL
    if form is Form.JACK_35 and "OPTICAL" in words:
        return Signal.OPTICAL
    return None


def _level(words: frozenset[str]) -> Level:
    fixed, variable = "FIXED" in words, "VARIABLE" in words
    if fixed and variable:
        return Level.SELECTABLE
    if fixed or variable:
        return Level.FIXED if fixed else Level.VARIABLE
    return Level.UNKNOWN
