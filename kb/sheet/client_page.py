"""Choose what the person who lives with the loop has to know, and in what order.

Everything is chosen from the codes of the path, so that the sheet says what the path says.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from kb.base.text import folded, visible
from kb.catalogue import CautionCode, StepCode, item_name
from kb.domain.language import Language
from kb.domain.panel import Panel
from kb.domain.words import Form, Kind, Level, Signal, Speakers
from kb.path import Connection, Path, Question, QuestionCode, jack_phrase, noun_of, sentence
from kb.path.answer import Caution, Step, Value
from kb.sheet.svg import cut

_SETTING: Final = 120  #: characters of such a place
MOST_SETTINGS: Final = 1  #: places in the menu that are named for one item


@dataclass(frozen=True, slots=True)
class MenuItem:
    """One choice in the source's menu that must stay, and where people found it."""

    text: str
    noted: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ForClient:
    """The client's page in sentences. Without a path ``menu``, ``keep`` and ``silent`` are empty."""

    how: str
    speakers: str = ""
    menu: tuple[MenuItem, ...] = ()
    keep: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    ask: tuple[str, ...] = ()


def for_client(connection: Connection, panel: Panel, kind: Kind, said: Language) -> ForClient:
    """What the chosen path means for the person who lives with it."""
    path = connection.chosen
    if path is None:
        ask = tuple(sentence(question, said) for question in connection.ask if not _for_installers(question))
        return ForClient(how=_say(said, kind, "sheet/connected/none"), ask=ask)
    return ForClient(
        how=_how(path, panel, kind, said),
        speakers=_say(said, kind, f"sheet/speakers/{_speakers(path)}") if _has_speakers(path, kind) else "",
        menu=tuple(_menu(path, said)),
        keep=tuple(_keep(path, said)),
        silent=tuple(_say(said, kind, key, **values) for key, values in _silent(path, kind, said)),
    )


def _for_installers(question: Question) -> bool:
    """Whether it speaks of earlier visits or other drivers; such questions go on the page for the file."""
    codes = (QuestionCode.HOW_WAS_IT_TRIED, QuestionCode.MICROPHONE_INPUT)
    return question.code in codes or question.variant == "disputed"


def _has_speakers(path: Path, kind: Kind) -> bool:
    """Whether there are loudspeakers to mention; a box has none, unless a visit saw them go silent."""
    known = path.speakers in (Speakers.MUTE, Speakers.MUTE_UNLESS_SET)
    return known or kind in (Kind.TELEVISION, Kind.SOUNDBAR)


def _speakers(path: Path) -> str:
    return "disputed" if "speakers" in path.disputed else path.speakers.value


def _say(said: Language, kind: Kind, key: str, **values: object) -> str:
    return said(key, the=said(f"sheet/the/{kind}"), of=said(f"sheet/of/{kind}"), **values)


def _how(path: Path, panel: Panel, kind: Kind, said: Language) -> str:
    items = said("language/then").join(item_name(name, said) for name in path.items)
    values: dict[str, object] = {"items": items, "input": path.input}
    if path.jack is None:
        return _say(said, kind, "sheet/connected/microphone", **values)
    jack, *other = (panel.jacks[index].jack for index in path.jacks)
    phrase = jack_phrase(jack.form, jack.marking, said)
    if other:
        phrase = said("sheet/connected/left-right", jack=phrase, right=other[0].marking)
    if jack.form is Form.BLUETOOTH and not jack.marking:  # there is nothing that a mark could be printed on
        phrase = noun_of(jack.form, said)
    return _say(said, kind, "sheet/connected/through", jack=phrase, **values)


def _menu(path: Path, said: Language) -> Iterator[MenuItem]:
    """Choices in the menu; they are what an update or a reset undoes."""
    for step in path.steps:
        noted = _noted(step)
        if step.code is StepCode.SET_PCM:
            yield MenuItem(said("sheet/keep/pcm"), noted)
        elif step.code is StepCode.DEVICE_CONTROL:
            yield MenuItem(said("sheet/keep/device-control"), noted)
        elif step.code is StepCode.REMEDY:
            yield MenuItem(said("sheet/keep/remedy"), noted)
        elif step.code is StepCode.SET_FIXED:
            yield MenuItem(said("sheet/keep/fixed"), noted)


def _noted(step: Step) -> tuple[str, ...]:
    """Where people found it; spellings that read alike once."""
    settings = _value(step, "settings")
    each = settings if isinstance(settings, tuple) else ()
    return tuple({folded(one): cut(visible(one), _SETTING) for one in reversed(each)}.values())[::-1][
        :MOST_SETTINGS
    ]


def _keep(path: Path, said: Language) -> Iterator[str]:
    """What else stays: switches, plugs, volumes."""
    for step in path.steps:
        if step.code is StepCode.SELECTOR:
            yield said("sheet/keep/selector", input=path.input)
        elif step.code is StepCode.INPUT_SWITCH:
            carries = _value(step, "carries")
            yield said("sheet/keep/input-switch", item=_item(step, said), carries=carries)
        elif step.code is StepCode.POWER:
            yield said("sheet/keep/power", item=_item(step, said))
    if path.signal is Signal.HEADPHONE:
        yield said("sheet/keep/headphone")
    elif "level" in path.disputed and path.level in (Level.VARIABLE, Level.FIXED):
        yield said("sheet/keep/remote-disputed")
    elif path.level is Level.VARIABLE:
        yield said("sheet/keep/remote")


def _silent(path: Path, kind: Kind, said: Language) -> Iterator[tuple[str, dict[str, object]]]:
    """What to try, the easiest and likeliest first (common practice)."""
    steps = {step.code: step for step in path.steps}
    cautions = {caution.code for caution in path.cautions}
    heard = _has_speakers(path, kind) and _speakers(path) not in (Speakers.MUTE, "disputed")
    yield "sheet/silent/sound" if heard else "sheet/silent/sound-muted", {}
    yield "sheet/silent/aid", {}
    boxes = [_item(step, said) for step in path.steps if step.code is StepCode.POWER]
    if boxes:
        yield "sheet/silent/lamps-boxes", {"items": said("language/join").join(boxes)}
    else:
        yield "sheet/silent/lamps", {}
    if CautionCode.THIS_BOX_ONLY in cautions:
        yield "sheet/silent/this-box", {}
    if path.signal is Signal.HEADPHONE:
        yield "sheet/silent/headphone", {}
    elif path.level is Level.VARIABLE:
        yield "sheet/silent/volume", {}
    if StepCode.SET_PCM in steps:
        yield "sheet/silent/pcm", {}
    if StepCode.DEVICE_CONTROL in steps:
        yield "sheet/silent/device-control", {}
    if StepCode.SELECTOR in steps:
        yield "sheet/silent/selector", {"input": path.input}
    if path.signal is Signal.WIRELESS:
        yield "sheet/silent/pair", {}
    yield "sheet/silent/click" if StepCode.CAPS_OFF in steps else "sheet/silent/plugs", {}
    yield "sheet/silent/restart", {}


def _item(step: Step, said: Language) -> str:
    return item_name(str(_value(step, "item")), said)


def _value(said: Step | Caution, name: str) -> Value:
    return dict(said.values).get(name, "")
