"""Put together the page for the file: findings, path, readings, cautions.

Everything is ready to print: texts in the reader's language, each list bounded so that it stays on one page.
People's names, job references and notes come in only where they were asked for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

from kb.base.messages import Wording
from kb.base.text import visible
from kb.domain.language import Language
from kb.domain.panel import Panel
from kb.domain.words import Direction
from kb.loop.sentences import Amount
from kb.loop.verdict import Check, Judgement
from kb.path import Connection, Path, RuledOut, sentence, together
from kb.sheet.layout import Row, chain_links, panel_rows, the_most_telling
from kb.sheet.loop_input import LoopData, Range
from kb.sheet.svg import cut

if TYPE_CHECKING:
    from kb.domain.visit import Visit

MOST_JACKS: Final = 10
MOST_NAMES: Final = 8  #: of jacks named in one line
MOST_VISITS: Final = 6
MOST_NOTES: Final = 5
MOST_LINES: Final = 4  #: of other ways, reasons, questions
MOST_POSITIONS: Final = 5
MOST_CHECKS: Final = 4  #: of response, noise and points, besides the field
_OF_A_PLACE: Final = ("response", "noise-on", "points", "standing")  #: checks that each place has
_SENTENCE: Final = 260  #: characters of a step or caution: settings that people noted can be long
_NOTE: Final = 240  #: characters of a note
_MARKING: Final = 40  #: characters of a marking
_FACTS: Final = 180  #: characters of what is known of a jack

#: Cautions on every sheet.
ALWAYS: Final = ("local-code", "licensed", "never-open", "outputs")
#: And on every sheet of a loop; the second list if its route is not known, so that any may apply.
OF_A_LOOP: Final = ("mains",)
OF_ANY_ROUTE: Final = ("ladder", "attic-heat", "dust", "asbestos", "plenum", "fire-rated")

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Listed:
    """Lines of a list, and how many were left out."""

    lines: tuple[str, ...]
    left: int = 0


@dataclass(frozen=True, slots=True)
class JackLine:
    """A jack in the table of findings."""

    number: int
    marking: str
    connector: str
    way: str
    known: str
    used: bool


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A check of the readings; ``verdict`` tells in words."""

    name: str
    value: str
    limit: str
    verdict: str
    bad: bool


@dataclass(frozen=True, slots=True)
class ReadingsPart:
    """The verdict, its checks, and the user's own word."""

    verdict: str
    incomplete: bool
    checks: tuple[CheckLine, ...]
    left: str
    user: str
    words: str
    place: Wording


@dataclass(frozen=True, slots=True)
class PathPart:
    """How it is connected."""

    chain: str
    facts: tuple[tuple[str, str], ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ForFile:
    """The page for the file."""

    facts: tuple[tuple[str, str], ...]
    jacks: tuple[JackLine, ...]
    more_jacks: str
    path: PathPart | None
    converter: str
    others: Listed
    ruled_out: Listed
    ask: Listed
    visits: Listed
    notes: Listed
    readings: ReadingsPart | None
    loop: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


def jack_lines(panel: Panel, used: Collection[int], said: Language) -> tuple[tuple[JackLine, ...], str]:
    """The most telling jacks of the panel, and a line that counts the others."""
    rows = panel_rows(panel, used, said)
    telling = [row for row in rows if row.used or row.way is not Direction.INPUT or len(row.facts) > 1]
    shown = the_most_telling(telling or rows, MOST_JACKS)
    numbers = {row.number for row in shown}
    left = [row for row in rows if row.number not in numbers]
    return tuple(_jack_line(row, said) for row in shown), _more_jacks(left, said)


def _more_jacks(left: Sequence[Row], said: Language) -> str:
    """``4 more: in 4 (HDMI 1, HDMI 2, AUDIO, 3.5 mm jack)``; nothing if nothing is left."""
    if not left:
        return ""
    counts = Counter(row.way for row in left).items()
    ways = (said("sheet/file/way-count", way=said(f"sheet/way/{way}"), count=count) for way, count in counts)
    return said(
        "sheet/file/more-jacks",
        count=len(left),
        ways=said("language/join").join(ways),
        names=_names([cut(row.marking, _MARKING) or said.word(row.form) for row in left], said, MOST_NAMES),
    )


def _jack_line(row: Row, said: Language) -> JackLine:
    return JackLine(
        number=row.number,
        marking=cut(row.marking, _MARKING) or said("sheet/drawing/no-mark"),
        connector=said.word(row.form),
        way=said(f"sheet/way/{row.way}"),
        known=cut("; ".join([row.signal, *row.facts[1:]] if row.signal else row.facts[1:]), _FACTS),
        used=row.used,
    )


def path_part(connection: Connection, panel: Panel, said: Language) -> PathPart | None:
    """The chosen path, or None."""
    path = connection.chosen
    if path is None:
        return None
    level = said.word(path.level)
    if "level" in path.disputed:
        level = said("sheet/file/disputed", value=level)
    facts = [(said("sheet/file/works"), _works(path, said)), (said("sheet/file/level"), level)]
    if path.delay_ms:
        facts.append((said("sheet/file/delay"), f"{said.number(f'{path.delay_ms:g}')} ms"))
    return PathPart(
        chain=chain_line(path, panel, said),
        facts=tuple(facts),
        steps=tuple(cut(sentence(step, said), _SENTENCE) for step in path.steps),
        cautions=tuple(cut(sentence(caution, said), _SENTENCE) for caution in path.cautions),
    )


def chain_line(path: Path, panel: Panel, said: Language) -> str:
    """The chain in one line of arrows."""
    return " → ".join(link.label for link in chain_links(path, panel, said))


def _works(path: Path, said: Language) -> str:
    return said("sheet/file/findings", percent=said.percent(path.p_works), count=path.trials)


def converter(connection: Connection, said: Language) -> str:
    """Is a converter needed, and why."""
    answer = said("sheet/file/needed") if connection.converter else said("sheet/file/not-needed")
    return f"{answer}. {sentence(connection.dac, said)}"


def ruled_out(reasons: Sequence[RuledOut], said: Language) -> Listed:
    """Jacks that are out for the same reason in one line."""
    lines = []
    for jacks, why in together(reasons, said):
        names = [
            cut(visible(one.marking), _MARKING) or said("place/jack", number=one.jack + 1) for one in jacks
        ]
        lines.append(f"{_names(names, said)}: {why}")
    return listed(lines)


def _names(jacks: list[str], said: Language, most: int = MOST_LINES) -> str:
    shown = said("language/join").join(jacks[:most])
    left = len(jacks) - most
    return f"{shown} {said('sheet/drawing/more', count=left)}" if left > 0 else shown


def listed(lines: Iterable[str], most: int = MOST_LINES) -> Listed:
    """At most so many lines."""
    every = tuple(cut(line, _SENTENCE) for line in lines)
    return Listed(every[:most], max(0, len(every) - most))


def visit_lines(visits: Sequence[Visit], said: Language, style: str, *, private: bool) -> Listed:
    """The day and basis of each visit, latest first; who and for which job only if asked."""
    latest = sorted(visits, key=lambda visit: (visit.date, visit.id), reverse=True)
    lines = []
    for visit in latest:
        line = said("sheet/file/visit", date=said.day(visit.date, style), basis=visit.basis)
        names = [name for name in (visit.by, visit.job) if name] if private else []
        lines.append(said("language/join").join([line, *(visible(name) for name in names)]))
    return listed(lines, MOST_VISITS)


def note_lines(visits: Sequence[Visit]) -> Listed:
    """What people noted, latest first; private."""
    latest = sorted(visits, key=lambda visit: (visit.date, visit.id), reverse=True)
    return listed(dict.fromkeys(_notes(latest)), MOST_NOTES)


def _notes(visits: Sequence[Visit]) -> Iterator[str]:
    for visit in visits:
        for note in (visit.note, *(finding.note for finding in visit.findings)):
            if note:
                yield cut(visible(" ".join(note.split())), _NOTE)


def readings_part(judgement: Judgement, said: Language, *, private: bool) -> ReadingsPart:
    """The verdict of the readings; the user's words and the place only if asked."""
    lines = [(check, _check_line(check, said)) for check in judgement.checks]
    # out of limits first: what has to be seen is never among what is left out
    order = sorted(lines, key=lambda pair: not pair[1].bad)
    of_field = [line for check, line in order if check.code == "field"]
    of_place = [line for check, line in order if check.code in _OF_A_PLACE]
    always = [line for check, line in lines if check.code != "field" and check.code not in _OF_A_PLACE]
    left = (*of_field[MOST_POSITIONS:], *of_place[MOST_CHECKS:])
    bad = sum(line.bad for line in left)
    more = ""
    if left:
        more = said("sheet/readings/more-out" if bad else "sheet/readings/more", count=len(left), out=bad)
    user = judgement.readings.user
    state = {True: "satisfied", False: "not-satisfied", None: "not-asked"}[user.satisfied if user else None]
    words = user.words if user and private else ""
    verdict = said(f"sheet/readings/{judgement.verdict}")
    if judgement.verdict == "meets":
        verdict += " " + said("sheet/readings/scope", count=judgement.places)
    return ReadingsPart(
        verdict=verdict,
        incomplete=bool(judgement.incomplete) and not judgement.failed,
        checks=(*of_field[:MOST_POSITIONS], *of_place[:MOST_CHECKS], *always),
        left=more,
        user=said(f"sheet/readings/user-{state}"),
        words=said("sheet/readings/user-words", words=cut(" ".join(words.split()), _NOTE)) if words else "",
        place=visible(judgement.readings.place) if private else "",
    )


def _check_line(check: Check, said: Language) -> CheckLine:
    if check.doubted and check.ok is None:
        state = "doubted"
    elif check.ok is False and not check.required:
        state = "tell"
    else:
        state = {True: "ok", False: "out", None: "not-measured"}[check.ok]
    return CheckLine(
        name=check.said(said),
        value=_value(check, said),
        limit=_limit(check, said),
        verdict=said(f"sheet/readings/{state}"),
        bad=check.ok is False and check.required,
    )


def _value(check: Check, said: Language) -> str:
    if check.value is None:
        return "–"
    if "dB" in check.unit:
        return f"{said.number(f'{check.value:+.1f}')} {check.unit} re {check.reference}"
    if check.code == "points":
        return f"{check.value:g}"
    return f"{said.number(f'{check.value:.3g}')} {check.unit}"


def _limit(check: Check, said: Language) -> str:
    """The limit as the check gives it, in this language: ``-3 to +3`` or ``64 or less``."""
    low, high = (
        said.number(f"{limit:{'+' if check.low is not None and check.high is not None else ''}g}")
        if limit is not None
        else ""
        for limit in (check.low, check.high)
    )
    if low and high:
        return said("sheet/readings/range", low=low, high=high)
    if low:
        return said("sheet/readings/or-more", value=low)
    return said("sheet/readings/or-less", value=high) if high else "–"


def loop_lines(data: LoopData, said: Language) -> tuple[tuple[str, str], ...]:
    """The loop as computed."""
    x0, x1, y0, y1 = data.loop.box
    size = said("sheet/loop/size-of", length=said.length(x1 - x0), width=said.length(y1 - y0))
    laid = said.length(data.laid)
    centre = data.centre
    lines = [
        ("size", size),
        (
            "wire",
            said(
                "sheet/loop/wire-of",
                turns=data.loop.turns,
                wire=said.number(data.wire.replace("mm2", "mm²")),
                laid=laid,
            ),
        ),
        (
            "current",
            said(
                "sheet/loop/current-of",
                current=Amount(centre.current_a).shown(said),
                voltage=Amount(data.voltage_v).shown(said),
            ),
        ),
        (
            "ohmmeter",
            said(
                "sheet/loop/ohmmeter-of",
                ohm=Amount(data.resistance_ohm).shown(said),
                inductance=said.number(f"{data.inductance_h * 1e6:.1f}"),
            ),
        ),
        ("field", said("sheet/loop/field-of", **_range(centre, said))),
    ]
    if data.levelled and abs(data.levelled.current_a - centre.current_a) >= 0.005:
        current = Amount(data.levelled.current_a).shown(said)
        lines.append(
            ("levelled", said("sheet/loop/levelled-of", current=current, **_range(data.levelled, said)))
        )
    judged = "no" if not data.fits else "yes" if data.judged else "not-judged"
    lines.append(("fits", said(f"sheet/loop/fits-{judged}")))
    return tuple((said(f"sheet/loop/{name}"), text) for name, text in lines)


def _range(levels: Range, said: Language) -> dict[str, object]:
    return {
        "low": said.number(f"{levels.min_db:+.1f}"),
        "high": said.number(f"{levels.max_db:+.1f}"),
    }


def cautions(data: LoopData | None, said: Language) -> tuple[str, ...]:
    """The standing cautions; those of the loop, and of its route, where there is one."""
    codes = list(ALWAYS)
    if data:
        codes += OF_A_LOOP
        codes += () if data.routed else OF_ANY_ROUTE
        codes += [code for code in data.cautions if said.has(f"sheet/standing/{code}")]
    return tuple(said(f"sheet/standing/{code}") for code in dict.fromkeys(codes) if code != "heading")
