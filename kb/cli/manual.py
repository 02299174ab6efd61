"""manual: draft a visit from a manual, and record what the person confirms."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base import clock
from kb.base.errors import NOTHING, BadInput, JackfieldError, Stated, why_of
from kb.base.inputfiles import read_bytes
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session, agreed, answering, choice, text
from kb.cli.days import read_day
from kb.cli.progress import bar
from kb.cli.record import at_terminal, named_as_known
from kb.cli.record_dialog import chosen
from kb.cli.tables import fitted
from kb.domain import marking
from kb.domain.visit import Visit, visit_from
from kb.domain.words import Basis, Format, Kind, Level, Signal, Speakers

if TYPE_CHECKING:
    from rich.table import Table

    from kb.domain.language import Language
    from kb.read.manual import Item
    from kb.read.pdf import Document
    from kb.read.shelf import Shelf

MOST_SETS: Final = 50  #: for which one manual is; a series has a dozen (common practice)
MOST_FILES: Final = 1000  #: manuals of one folder


@dataclass(frozen=True, slots=True)
class Drafted:
    """An item of the draft with the numbers of the sets that it is about."""

    item: Item
    sets: tuple[int, ...]


@dataclass(slots=True)
class Reading:
    """A manual as it was read: its sets, and the draft for all of them."""

    name: str
    sent: bytes
    document: Document
    sets: list[tuple[str, str]]
    drafted: list[Drafted] = field(default_factory=list)

    @property
    def sure(self) -> list[Drafted]:
        """What is not doubtful."""
        return [one for one in self.drafted if not one.item.doubt]


@command("manual")
@click.argument("file", metavar="FILE|FOLDER")
@click.option("--set", "sets", nargs=2, multiple=True, metavar="MAKE MODEL")
@click.option("--kind", type=choice(Kind), metavar="KIND")
@click.option("--date", "on", metavar="DATE")
@click.option("--by", metavar="INITIALS")
@click.option("--yes", is_flag=True)
def manual_command(
    session: Session, file: str, sets: tuple[tuple[str, str], ...], yes: bool, **said: Any
) -> int:
    """
    jackfield manual nv40.pdf --set Norwell NV40-210 --set Norwell NV50-210
    jackfield manual nv40.pdf --set Norwell NV40-210 --yes
    jackfield manual manuals
    """
    if said["on"]:
        said["on"] = read_day(session, said["on"], "--date", back=True).isoformat()
    if Path(file).is_dir():
        if sets:
            raise BadInput("manual", Said("seen/folder-and-set"), Said("expected/folder-of-manuals"))
        return _folder(session, Path(file), yes, said)
    if not sets:
        raise BadInput("manual", NOTHING, Said("expected/set-options-of-manual"))
    reading = _read(file, list(dict.fromkeys(sets)), session.language)
    recorded: list[dict[str, str]] = []
    if not session.as_json:
        _show(session, reading)
    if yes:
        recorded = _record(session, reading, reading.sure, said)
    elif not session.as_json and reading.drafted and at_terminal():
        recorded = _record(session, reading, _asked(session, reading), said)
    elif not session.as_json and reading.drafted:
        session.say(session.language("cli/manual/piped"))
    if session.as_json:
        with answering(session, "recorded"):
            session.json(_json(reading) | {"recorded": recorded})
    return 0 if reading.drafted else 1


# -- reading -------------------------------------------------------------------------------------------


def _read(file: str, sets: list[tuple[str, str]], said: Language) -> Reading:
    from kb.read import limits, pdf
    from kb.read.manual import ManualText
    from kb.read.scans import with_scans

    if len(sets) > MOST_SETS:
        raise BadInput("--set", Said("seen/sets", count=len(sets)), Said("expected/at-most", most=MOST_SETS))
    for make, model in sets:  # names first: reading takes its time
        visit_from({"date": clock.today().isoformat(), "source": {"make": make, "model": model}}, "--set")
    sent, place = read_bytes(file, limits.MANUAL_BYTES)
    name = Path(file).name if file != "-" else said.shown(place)
    document = pdf.document(sent, place)
    if any(page.picture for page in document.pages):
        with bar(name) as tell:
            document = with_scans(document, sent, place, tell)
    found: dict[tuple[Any, ...], list[int]] = {}
    items: dict[tuple[Any, ...], Item] = {}
    text_of = ManualText(document.pages)
    for number, (_, model) in enumerate(sets):
        for item in text_of.draft(model):
            key = (item.form, item.marking, item.page, item.line, *sorted(item.says.items()), item.doubt)
            items.setdefault(key, item)
            found.setdefault(key, []).append(number)
    drafted = [Drafted(items[key], tuple(numbers)) for key, numbers in found.items()]
    return Reading(name, sent, document, sets, drafted)


# -- confirming and recording --------------------------------------------------------------------------


def _asked(session: Session, reading: Reading) -> list[Drafted]:
    """What the person confirms."""
    said = session.language
    while True:
        typed = click.prompt(said("cli/manual/which"), err=True, default="", show_default=False).strip()
        which = chosen(typed, len(reading.drafted), said)
        if which in ("all", "each"):
            return _one_by_one(session, reading, only_doubtful=which == "all")
        if isinstance(which, list):
            return [reading.drafted[number - 1] for number in which]
        session.say(said("cli/manual/which/wrong", most=len(reading.drafted)))


def _one_by_one(session: Session, reading: Reading, *, only_doubtful: bool) -> list[Drafted]:
    """Ask for each line, or for the doubtful ones; what is said of a jack that is not right is not asked."""
    right: list[Drafted] = []
    wrong: set[tuple[str, str]] = set()
    for number, one in enumerate(reading.drafted, 1):
        name = (one.item.form.value, one.item.marking)
        if name in wrong:
            continue
        if (only_doubtful and not one.item.doubt) or _is_right(session, number, one):
            right.append(one)
        elif one.item.is_jack:
            wrong.add(name)
    return right


def _is_right(session: Session, number: int, one: Drafted) -> bool:
    said = session.language
    session.say(f"{number}  {_jack(one.item, said)}: {_says(one.item, said)}")
    session.say(said("cli/manual/cited", page=one.item.page, line=one.item.line))
    return agreed(said("cli/manual/right"), not one.item.doubt, session.language)


def _record(
    session: Session, reading: Reading, confirmed: Sequence[Drafted], said: dict[str, Any]
) -> list[dict[str, str]]:
    """Record a visit for each set of what was confirmed, and keep the manual with the pages."""
    from kb.read.manual import jacks_of, with_their_jacks
    from kb.read.shelf import Shelf

    shelf = Shelf(session.folder)
    done: list[dict[str, str]] = []
    for number, (make, model) in enumerate(reading.sets):
        chosen = [one.item for one in confirmed if number in one.sets]
        items = with_their_jacks(chosen)
        if len(items) < len(chosen):
            left = len(chosen) - len(items)
            session.say(session.language("cli/manual/left-out", count=left, make=make, model=model))
        jacks = jacks_of(items)
        if not jacks:
            continue
        visit = visit_from(
            {
                "date": said["on"] or clock.today().isoformat(),
                "source": {"make": make, "model": model, "kind": said["kind"] or Kind.TELEVISION.value},
                "basis": Basis.MANUAL.value,
                "by": said["by"] or session.settings.initials,
                "jacks": jacks,
            },
            "manual",
        )
        done += _kept(session, shelf, reading, visit, items)
    if not done and not session.as_json:
        session.say(session.language("cli/record/nothing"))
    return done


def _kept(
    session: Session, shelf: Shelf, reading: Reading, visit: Visit, items: list[Item]
) -> Iterator[dict[str, str]]:
    """Record one visit; one that this manual gave before makes way for it."""
    from dataclasses import replace

    (visit,), alike = named_as_known(session, [visit])
    key = shelf.keep(reading.sent, reading.name, reading.document)
    from_here = set(shelf.visits(key))
    known = session.book.visits(visit.source.make, visit.source.model)
    before = [one for one in known if one.id in from_here]
    if any(one.findings == visit.findings for one in before):
        session.say(session.language("cli/manual/already", make=visit.source.make, model=visit.source.model))
        return
    visit = replace(visit, supersedes=tuple(one.id for one in before))
    for one in session.book.record([visit]).recorded:
        shelf.cite(key, one.id, items)
        if not session.as_json:
            with answering(session, "recorded"):
                session.console.print(text(session.language("cli/recorded", make=one.make, model=one.model)))
        yield {"visit": one.id, "make": one.make, "model": one.model}
    for other in alike:
        (name,) = other.near
        session.say(session.language("cli/record/alike", asked=other.asked, name=" ".join(name)))


# -- showing -------------------------------------------------------------------------------------------


def _jack(item: Item, said: Language) -> str:
    form = said.word(item.form)
    return item.marking if item.marking.startswith(form) else f"{form} {item.marking}"


def _says(item: Item, said: Language) -> str:
    """What an item says, in words."""
    if item.is_jack:
        read = marking.read(item.form, item.marking)
        way = item.says.get("direction", read.direction.value)
        signal = Signal(item.says["signal"]) if "signal" in item.says else read.signal
        words = [said(f"sheet/way/{way}"), *([said.word(signal)] if signal and way != "input" else [])]
    else:
        words = [
            said(f"cli/manual/says/{name}", value=kind(item.says[name]))
            for name, kind in _FIELDS.items()
            if name in item.says
        ]
        words += [item.says["setting"]] if "setting" in item.says else []
    doubt = [said(f"cli/manual/doubt/{item.doubt}")] if item.doubt else []
    return "; ".join([*words, *doubt])


_FIELDS: Final = {"speakers": Speakers, "level": Level, "format": Format}


def _show(session: Session, reading: Reading) -> None:
    said, out = session.language, session.console
    title = said("cli/manual/title", name=reading.name, count=reading.document.count)
    out.print(text(title, "bold"))
    for note in _notes(reading, said):
        out.print(text(note, "yellow"))
    if not reading.drafted:
        out.print(text(said("cli/manual/empty")))
        return
    out.print(fitted(_table(reading, said), out))


def _notes(reading: Reading, said: Language) -> list[str]:
    """Pages that could not be read, and why."""
    document = reading.document
    pictures = [page.number for page in document.pages if page.picture and not page.pieces]
    notes = [said("cli/manual/stopped", page=document.stopped)] if document.stopped else []
    if pictures:
        notes.append(said("cli/manual/pictures", count=len(pictures), page=pictures[0]))
    return notes


def _table(reading: Reading, said: Language) -> Table:
    from rich.table import Table

    table = Table(box=None, padding=(0, 1), pad_edge=False)
    table.add_column("#", justify="right", style="dim")
    for name in ("jack", "finding", "page", "line"):
        table.add_column(said(f"cli/manual/column/{name}"), overflow="fold")
    for number, one in enumerate(reading.drafted, 1):
        item = one.item
        style = "yellow" if item.doubt else ""
        models = ", ".join(reading.sets[at][1] for at in one.sets)
        only = f" ({models})" if len(one.sets) < len(reading.sets) else ""
        table.add_row(
            f"{number}{'?' if item.doubt else ''}",
            text(_jack(item, said), "bold" if item.is_jack else "dim"),
            text(_says(item, said) + only, style),
            str(item.page),
            text(item.line, "dim"),
        )
    return table


def _json(reading: Reading) -> dict[str, Any]:
    document = reading.document
    return {
        "manual": reading.name,
        "pages": document.count,
        "stopped": document.stopped,
        "pictures": [page.number for page in document.pages if page.picture],
        "sets": [{"make": make, "model": model} for make, model in reading.sets],
        "draft": [
            {
                "form": one.item.form.value,
                "marking": one.item.marking,
                "says": dict(one.item.says),
                "page": one.item.page,
                "line": one.item.line,
                "doubt": one.item.doubt or None,
                "sets": [reading.sets[at][1] for at in one.sets],
            }
            for one in reading.drafted
        ],
    }


# -- a folder ------------------------------------------------------------------------------------------


def _folder(session: Session, folder: Path, yes: bool, given: dict[str, Any]) -> int:
    """Draft all manuals of a folder, and show for each what was drafted, what is doubtful, and why."""
    from rich.table import Table

    try:
        files = sorted(one for one in folder.iterdir() if one.suffix.lower() == ".pdf")
    except OSError as problem:
        raise BadInput(str(folder), Stated("error/cannot-be-read", why=why_of(problem))) from problem
    if not 0 < len(files) <= MOST_FILES:
        raise BadInput(
            str(folder), Said("seen/manuals", count=len(files)), Said("expected/pdf-files", most=MOST_FILES)
        )
    said = session.language
    answers: list[dict[str, Any]] = []
    table = Table(box=None, padding=(0, 1), pad_edge=False)
    for name in ("file", "sure", "doubtful", "why"):
        right = name in ("sure", "doubtful")
        table.add_column(
            said(f"cli/manual/column/{name}"), overflow="fold", justify="right" if right else "left"
        )
    with bar(said("cli/manual/reading")) as tell:
        for number, file in enumerate(files):
            if tell:
                tell(number, len(files))
            answer, row = _one_of_folder(session, file, yes, given)
            answers.append(answer)
            table.add_row(*(text(cell) for cell in row))
    with answering(session, "recorded"):
        if session.as_json:
            session.json({"manuals": answers})
        else:
            session.console.print(fitted(table, session.console))
            if not yes:
                session.say(said("cli/manual/folder"))
    return 0 if any(answer.get("draft") for answer in answers) else 1


def _one_of_folder(
    session: Session, file: Path, yes: bool, given: dict[str, Any]
) -> tuple[dict[str, Any], list[str]]:
    said = session.language
    try:
        reading = _read(str(file), _sets_of(file), session.language)
        recorded = _record(session, reading, reading.sure, given) if yes else []
    except JackfieldError as wrong:  # the others are still wanted
        told = wrong.in_language(said.code)
        return {"manual": file.name, "error": told}, [file.name, "", "", told]
    doubts = list(dict.fromkeys(one.item.doubt for one in reading.drafted if one.item.doubt))
    why = [said(f"cli/manual/doubt/{doubt}") for doubt in doubts] + _notes(reading, said)
    count = len(reading.drafted) - len(reading.sure)
    row = [file.name, str(len(reading.sure)), str(count), "; ".join(why)]
    return _json(reading) | {"recorded": recorded}, row


def _sets_of(file: Path) -> list[tuple[str, str]]:
    """The sets that a file is named after: ``Norwell NV40-210, NV50-210.pdf``."""
    make, _, models = file.stem.replace("_", " ").partition(" ")
    found = [(make, model.strip()) for model in models.split(",") if model.strip()]
    if not found:
        raise BadInput(file.name, Said("seen/no-set-in-name"), Said("expected/manual-names"))
    return found
