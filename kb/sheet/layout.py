"""Place the parts of a drawing of a panel, and of the chain from jack to driver.

The terminal and the pictures are drawn from the same rows and links, so that they cannot tell two stories.

>>> from kb.domain.jack import Jack
>>> from kb.domain.panel import Panel, PanelJack
>>> from kb.domain.words import Colour, Direction, Form, Signal
>>> line = Jack(Form.RCA_PAIR, "AUDIO OUT", Direction.OUTPUT, Signal.ANALOG_LINE)
>>> [(row.number, row.marking, row.facts) for row in panel_rows(Panel((PanelJack(line),)))]
[(1, 'AUDIO OUT', ('analog line, RCA pair',))]
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from enum import Enum
from typing import TYPE_CHECKING, Final, NamedTuple

from kb.base.text import squeezed, visible
from kb.catalogue import Role, catalogue, item_name
from kb.domain import marking
from kb.domain.language import Language, language
from kb.domain.panel import Panel, PanelJack
from kb.domain.words import Colour, Direction, Form, Format, Level, Signal, Speakers, Word

if TYPE_CHECKING:
    from kb.domain.visit import Source
    from kb.path import Path


class Row(NamedTuple):
    """One jack of a drawing: number from 1, what it is, what is known of it, and whether the path uses it."""

    number: int
    form: Form
    way: Direction
    sounds: bool
    """False for what carries no usable sound."""
    marking: str
    facts: tuple[str, ...]
    """What is known: signal and form first."""
    signal: str = ""
    used: bool = False


class LinkKind(Enum):
    """What a link of the chain is, and so how it is drawn."""

    SOURCE = "source"
    CABLE = "cable"
    BOX = "box"
    DRIVER = "driver"


class Link(NamedTuple):
    """One link of the chain from jack to driver. ``form`` is that of the jack, at the source only."""

    kind: LinkKind
    label: str
    form: Form | None = None


def panel_rows(panel: Panel, used: Collection[int] = (), lang: Language | None = None) -> tuple[Row, ...]:
    """The jacks in the order of the panel; ``used`` are the indices of those that the path starts from."""
    said = lang or language()
    return tuple(
        Row(
            number=index + 1,
            form=one.jack.form,
            way=one.jack.direction,
            sounds=one.jack.signal is not Signal.NOT_AUDIO,
            marking=visible(one.jack.marking),
            facts=tuple(facts(one, said)),
            signal=said.word(one.jack.signal) if one.jack.signal else "",
            used=index in used,
        )
        for index, one in enumerate(panel.jacks)
    )


def facts_of_set(source: Source, said: Language) -> Iterator[str]:
    """What is known of a set besides its name: kind, display, year and inches."""
    yield said.word(source.kind)
    if source.display:
        yield said.word(source.display)
    if source.year:
        yield str(source.year)
    if source.size_in:
        yield said("language/inches", inches=source.size_in)


def the_most_telling(rows: Sequence[Row], most: int) -> tuple[Row, ...]:
    """At most ``most`` rows in their order: the used one first of all, then outputs, unclear ones, inputs."""
    rank = {Direction.OUTPUT: 1, Direction.UNCLEAR: 2, Direction.INPUT: 3}
    best = sorted(rows, key=lambda row: (not row.used, not row.sounds, rank[row.way], row.number))[:most]
    return tuple(sorted(best, key=lambda row: row.number))


def facts(one: PanelJack, lang: Language | None = None) -> Iterator[str]:
    """What is known of a jack, in the order in which it matters."""
    said, jack = lang or language(), one.jack
    told = jack.signal is not None and jack.form.always  # the signal tells what plugs in
    named = [said.word(jack.signal)] if jack.signal else []
    yield said("language/join").join(named if told else [*named, said.word(jack.form)])
    if one.taken:
        yield said("sheet/fact/taken")
    if one.speakers is not Speakers.UNKNOWN:
        yield said("sheet/fact/speakers", speakers=one.speakers)
    if jack.level is not Level.UNKNOWN:
        yield said("sheet/fact/level", level=jack.level)
    if jack.format is not Format.UNKNOWN:
        yield (
            said("sheet/fact/format-selectable")
            if jack.format is Format.SELECTABLE
            else said.word(jack.format)
        )
    yield from (said("sheet/fact/outcome", outcome=outcome, count=count) for outcome, count in one.outcomes)
    if one.taken_seen:
        yield said("sheet/fact/taken-seen", count=one.taken_seen)
    if read := marking.against(jack.form, jack.marking, jack.colour, jack.direction, jack.signal):
        yield said("sheet/fact/mark-says", direction=read.direction)
    for dispute in one.disputes:
        values = (
            said("sheet/fact/said", value=_disputed_value(dispute.field, value, said), count=count)
            for value, count in dispute.said
        )
        yield said(
            "sheet/fact/disputed",
            field=said(f"field/{dispute.field}"),
            said=said("sheet/fact/against").join(values),
        )


def chain_links(path: Path, panel: Panel, lang: Language | None = None) -> tuple[Link, ...]:
    """The links from the source to the driver; their labels in English are those of ``kb.path.chain``."""
    said = lang or language()
    if path.jack is None:
        first = Link(LinkKind.SOURCE, said("path/part/loudspeaker"))
    else:
        jacks = [panel.jacks[index].jack for index in path.jacks]
        marks = " + ".join(visible(jack.marking) for jack in jacks if jack.marking)
        first = Link(LinkKind.SOURCE, marks or said.word(jacks[0].form), jacks[0].form)
    between = (Link(_kind(name), item_name(name, said)) for name in path.items)
    return (first, *between, Link(LinkKind.DRIVER, said("path/part/driver", input=path.input)))


def _kind(name: str) -> LinkKind:
    item = catalogue().by_name.get(squeezed(name))
    return LinkKind.CABLE if item and item.role is Role.CABLE else LinkKind.BOX


#: The words that visits may disagree on; a value of the field is one of them.
_WORDS: Final[dict[str, type[Word]]] = {
    "direction": Direction,
    "signal": Signal,
    "level": Level,
    "format": Format,
    "colour": Colour,
    "speakers": Speakers,
}


def _disputed_value(field: str, value: str, lang: Language) -> str:
    """A disputed value in the reader's language."""
    for word in _WORDS.get(field, ()):
        if word.value == value:
            return lang.word(word)
    return lang(f"sheet/dispute/{value}") if lang.has(f"sheet/dispute/{value}") else visible(value)
