"""Render the sheet: one page for the client in large type, one for the file.

A sheet is one HTML document with everything in it: no script, no network, nothing to fetch.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, Final

from kb.base.text import visible
from kb.domain.language import Language, language
from kb.domain.panel import Panel
from kb.domain.visit import Source, Visit
from kb.domain.words import DriverInput, Kind
from kb.loop.sentences import Amount
from kb.loop.verdict import Judgement
from kb.path import Connection, sentence
from kb.sheet import file_page as forfile
from kb.sheet import palette
from kb.sheet.client_page import ForClient, for_client
from kb.sheet.drawing import chain_height, chain_picture, panel_picture
from kb.sheet.fieldmap import field_picture
from kb.sheet.layout import chain_links, facts_of_set, panel_rows
from kb.sheet.loop_input import LoopData
from kb.sheet.paper import Paper
from kb.sheet.svg import UNIT_MM, text_width

if TYPE_CHECKING:
    from jinja2 import Environment

CONTACT: Final = 120  #: characters of whom the client calls, at most
#: Jacks drawn on the client's page, at most: one line, so that the words keep their room.
CLIENT_JACKS: Final = 6


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that goes onto a sheet. ``length_m`` metres from the jack to the driver.

    ``private``: names, job references and notes go into the page for the file; the client's page never has
    them. ``contact`` is whom the client calls; empty leaves a line to write on.
    """

    source: Source
    panel: Panel
    connection: Connection
    inputs: tuple[DriverInput, ...]
    made: date
    visits: tuple[Visit, ...] = ()
    driver: str = ""
    length_m: float = 1.5
    readings: Judgement | None = None
    loop: LoopData | None = None
    contact: str = ""
    private: bool = False
    lang: str = "en"
    paper: Paper = Paper.A4


def render(sheet: Sheet) -> str:
    """The sheet as an HTML document. Raises BadInput if there is no such language."""
    said = language(sheet.lang, feet=sheet.paper.feet)
    client = for_client(sheet.connection, sheet.panel, sheet.source.kind, said)
    file = _for_file(sheet, said)
    return document(
        "sheet.html",
        said,
        kind={"the": said(f"sheet/the/{sheet.source.kind}"), "of": said(f"sheet/of/{sheet.source.kind}")},
        television=sheet.source.kind is Kind.TELEVISION,
        paper=sheet.paper,
        set_name=set_name(sheet.source),
        made=said.day(sheet.made, sheet.paper.value),
        contact=visible(sheet.contact),
        client=client,
        file=file,
        crowded=_crowded(sheet, client, file, said),
        pictures=_pictures(sheet, said),
        map_caption=_map_caption(sheet, said),
    )


def document(template: str, said: Language, **values: object) -> str:
    """A page for print from a template: one file that needs no network and runs nothing."""
    page = templates().get_template(template)
    return page.render(say=said, lang=said.code, colour=palette, **values)


def templates() -> Environment:
    """The package's templates: everything in them is escaped, and a missing name is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(FilePath(__file__).parent / "templates", encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def set_name(source: Source) -> str:
    """``Norwell NV40-210``."""
    return visible(f"{source.make} {source.model}")


#: Lines that a page holds at the usual size of its text: tried out in print, with some air.
_CLIENT_LINES: Final = {Paper.A4: 26.4, Paper.LETTER: 22.2}
_FILE_LINES: Final = {Paper.A4: 80.0, Paper.LETTER: 78.0}
#: How full a page may be counted and still fit at the second size. All of these are measured in Chromium over
#: the demo book, with narrow letters and with wide ones.
_SECOND: Final = {Paper.A4: 1.16, Paper.LETTER: 1.16}
_FILE_SECOND: Final = 1.28
_USUAL: Final = 0.555  #: width of a usual character in running text, as ``text_width`` measures it


def _crowded(sheet: Sheet, client: ForClient, file: forfile.ForFile, said: Language) -> dict[str, str]:
    """How small the text of each page is set (classes of the style sheet), so that two pages hold it all."""
    of_client = (client.how, client.speakers)
    listed = (*client.keep, *client.silent, *client.ask)
    menu = [said("sheet/keep/noted", setting=" ".join(item.noted)) for item in client.menu]
    chosen = sheet.connection.chosen
    chain = chain_height(chain_links(chosen, sheet.panel, said)) if chosen else 0.0
    path = file.path
    of_file = (
        *(path.steps + path.cautions if path else ()),
        *(file.ask.lines + file.others.lines + file.ruled_out.lines + file.visits.lines + file.notes.lines),
        *file.cautions,
        *(value for _, value in file.loop),
    )
    checks = file.readings.checks if file.readings else ()
    # a line of the table goes across both columns
    table = 2.6 * sum(max(_lines(jack.known, 70), _lines(jack.marking, 20)) for jack in file.jacks)
    table += sum(max(_lines(check.name, 22), _lines(check.value, 24)) for check in checks)
    map_lines = 18 if sheet.loop else 0
    titles = [item.text for item in client.menu]  # in bold type
    # with its frame and the line below
    box = _lines_of(titles, 58) + _lines_of(menu, 63) + 3.5 if menu else 1.0
    client_lines = _lines_of(of_client, 73) + _lines_of(listed, 69) + box + chain * UNIT_MM / 6.6
    return {
        "client": _size(client_lines / _CLIENT_LINES[sheet.paper], _SECOND[sheet.paper]),
        "file": _size((_lines_of(of_file, 62) + table + map_lines) / _FILE_LINES[sheet.paper], _FILE_SECOND),
    }


def _size(filled: float, second: float) -> str:
    """Classes for a page that is filled so far at the usual size; smaller type holds up to ``second``."""
    if filled <= 1:
        return ""
    return "crowded" if filled <= second else "crowded full"


def _lines_of(texts: Iterable[str], across: int) -> int:
    return sum(_lines(text, across) for text in texts)


def _lines(text: str, across: int) -> int:
    """About how many lines a text takes, with ``across`` usual characters to a line."""
    return math.ceil(text_width(text, 1) / (_USUAL * across))


def _pictures(sheet: Sheet, said: Language) -> dict[str, Any]:
    """Pictures as markup: they are made of escaped elements."""
    from markupsafe import Markup

    name, chosen = set_name(sheet.source), sheet.connection.chosen
    rows = panel_rows(sheet.panel, chosen.jacks if chosen else (), said)
    drawn: dict[str, object] = {"panel": panel_picture(name, rows, said, most=CLIENT_JACKS)}
    if chosen:
        drawn["chain"] = chain_picture(name, chain_links(chosen, sheet.panel, said), said)
    if sheet.loop:
        drawn["map"] = field_picture(sheet.loop, said)
    return {key: Markup(str(picture)) for key, picture in drawn.items() if picture}  # noqa: S704


def _map_caption(sheet: Sheet, said: Language) -> str:
    if sheet.loop is None:
        return ""
    loop = sheet.loop
    current, tolerance = Amount(loop.drawn.current_a).shown(said), said.number(f"{loop.tolerance_db:g}")
    return said("sheet/drawing/map-caption", current=current, tolerance=tolerance)


def _for_file(sheet: Sheet, said: Language) -> forfile.ForFile:
    connection, panel = sheet.connection, sheet.panel
    chosen = connection.chosen
    jacks, more_jacks = forfile.jack_lines(panel, chosen.jacks if chosen else (), said)
    others = (forfile.chain_line(path, panel, said) for path in connection.others)
    style = sheet.paper.value
    return forfile.ForFile(
        facts=tuple(_facts(sheet, said)),
        jacks=jacks,
        more_jacks=more_jacks,
        path=forfile.path_part(connection, panel, said),
        converter=forfile.converter(connection, said),
        others=forfile.listed(others),
        ruled_out=forfile.ruled_out(connection.ruled_out, said),
        ask=forfile.listed(sentence(question, said) for question in connection.ask),
        visits=forfile.visit_lines(sheet.visits, said, style, private=sheet.private),
        notes=forfile.note_lines(sheet.visits) if sheet.private else forfile.Listed(()),
        readings=forfile.readings_part(sheet.readings, said, private=sheet.private)
        if sheet.readings
        else None,
        loop=forfile.loop_lines(sheet.loop, said) if sheet.loop else (),
        cautions=forfile.cautions(sheet.loop, said),
    )


def _facts(sheet: Sheet, said: Language) -> Sequence[tuple[str, str]]:
    """The set, the driver and the day."""
    source, join = sheet.source, said("language/join")
    about = list(facts_of_set(replace(source, size_in=None), said))
    about += [f"{said.number(f'{source.size_in:g}')}″"] if source.size_in else []
    inputs = join.join(said.word(one) for one in sheet.inputs)
    return [
        (said("sheet/file/set"), f"{set_name(source)} ({join.join(about)})"),
        *([(said("sheet/file/driver"), visible(sheet.driver))] if sheet.driver else []),
        (said("sheet/file/driver-inputs"), inputs),
        (said("sheet/file/run"), said.length(sheet.length_m)),
        (said("sheet/file/date"), said.day(sheet.made, sheet.paper.value)),
    ]
