"""Every sentence on a screen comes from the catalogue.

In a pretended language whose sentences are all marked, screens and helps have nothing else but data.
"""

from __future__ import annotations

import json
import os
import re
import sqlite3
import tomllib
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

import click
import pytest

from kb.base import messages as catalogue
from kb.base.datafolder import data_path
from kb.base.errors import JackfieldError
from kb.base.guide import topics
from kb.base.messages import Said
from kb.domain import words
from kb.domain.language import Language
from kb.domain.words import typed_words
from tests.cli.conftest import Run
from tests.cli.test_commands import VisitFile
from tests.cli.test_help import COMMANDS
from tests.pretended import sentences

CODE = "es"  #: the language that is pretended
#: Names of units and formats, which are the same in every language.
UNITS = frozenset(
    "icnirp backups awg dba dbv dbu ohm khz mhz hz db mm2 min "
    "csv json jsonl html svg png wav toml pdf gzip tls url iec".split()
)
#: Files of data with names, and with texts of their own in each language; and the keys of both.
DATA_FILES = ("items.toml", "faults.toml", "drivers.toml", "wire.toml", "routes.toml")
NAMES = ("name", "id", "label", "answers", "code", CODE)
#: Names of fields and formats, which are typed as they are.
NAMED = (
    *("date", "day", "job", "route", "colour", "source", "jobs", "make", "model", "complaint", "readings"),
    *("noise", "positions", "response", "user", "JSON", "TOML", "CSV"),
)


#: Words that join others: alone they are never data.
JOINTS = frozenset({"and", "the", "for", "with", "from", "that", "are"})
PARTS_OF_NAMES = re.compile(rf"\b(?:{'|'.join(JOINTS)})(?=-)|(?<=-)(?:{'|'.join(JOINTS)})\b")
#: Words of the short form of a jack.
SHORT_WORDS = (*(name.name for form in words.Form for name in form.short), "var", "bits")
#: Keys that are typed.
KEYS = ("cli/yes", "cli/no", "cli/share/keys")


def marked(message: Any) -> Any:
    if isinstance(message, dict):
        return {form: marked(one) for form, one in message.items()}
    # Values stay outside the marks: a word that code puts into a sentence shows.
    return re.sub(r"[^{}]*[A-Za-z][^{}]*(?=\{|$)", lambda said: f"⟦{said[0]}⟧", message)


@pytest.fixture
def pretended(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """The other language is English in which each sentence and each word of the vocabulary is marked."""
    said = dict(catalogue.messages())
    said |= {key: one for key, one in catalogue.messages(CODE).items() if key.startswith("word/item/")}
    months = " ".join(marked(month) for month in str(said["language/months"]).split())
    marks = {key: marked(one) for key, one in said.items() if key not in KEYS}
    marks |= {"language/months": months} | {key: said[key] for key in KEYS}
    with sentences(CODE, marks, tmp_path_factory.mktemp("pretended")) as patch:
        patch.setattr(Language, "word", word_marked)
        for kind in (Said, JackfieldError):
            patch.setattr(kind, "__str__", in_english_alone)
        yield


def word_marked(language: Language, word: words.Word) -> str:
    """A word in the pretended language; where the language is left to its default, English shows."""
    return f"⟦{word.label}⟧" if language.code == CODE else word.label


def in_english_alone(said: object) -> str:
    """What ``str`` gives in the pretended language: the reader would get English."""
    return f"{type(said).__name__} in English alone"


def left(text: str) -> str:
    """A text without all that is marked, marks in marks, too."""
    depth, kept = 0, []
    for letter in text:
        depth += letter == "⟦"
        kept.append(letter if depth == 0 else " " if letter in "⟦⟧" else "")
        depth -= letter == "⟧"
    assert depth == 0, text
    return "".join(kept)


def vocabulary(kind: type[words.Word] = words.Word) -> Iterator[str]:
    for below in kind.__subclasses__():
        yield from (one.value for one in below)
        yield from vocabulary(below)


def strings(data: object, named: bool = False) -> Iterator[str]:
    """The texts of a file of data below one of ``NAMES``."""
    if isinstance(data, dict):
        for key, one in data.items():
            if named:
                yield key
            if key == "answers" and not named:  # their names are typed, their sentences are for people
                yield from one
            else:
                yield from strings(one, named or key in NAMES)
    elif isinstance(data, list):
        for one in data:
            yield from strings(one, named)
    elif named:
        yield str(data)


def known_words(*typed: str) -> set[str]:
    """Words that are data or names: of the vocabulary, of files and of what was typed."""
    return (words_in(*typed) | words_of_data()) - JOINTS


@cache
def words_of_data() -> set[str]:
    texts = [*vocabulary(), *SHORT_WORDS, "jackfield"]
    for name in DATA_FILES:
        texts += strings(tomllib.loads(Path(data_path(name) or "").read_text("utf-8")))
    return words_in(*texts) | UNITS


def words_of_options() -> set[str]:
    """Words of commands and options. Screens name these in sentences; only helps have them alone."""
    texts = [*COMMANDS]
    for command in COMMANDS.values():
        texts.append(command.help or "")
        context = click.Context(command)
        for param in command.get_params(context):
            texts += [*param.opts, *param.secondary_opts, param.make_metavar(context), str(param.default)]
    return words_in(*texts)


#: Options, commands, names of files and of arguments, and a note: the same in every language.
AS_TYPED = re.compile(
    rf"--[a-z][a-z0-9-]+|jackfield (?:{'|'.join(sorted(filter(None, COMMANDS), reverse=True))})\b"
    r"|\S+\.[a-z]+\b|\S*/\S*|\b(?:BUNDLE|ITEM|COUNT)\b|Cable behind the cabinet in the kitchen"
)


def data_of(lines: Iterable[str]) -> str:
    """What is typed in these lines but commands and options."""
    typed = [line.split() for line in lines if line.strip()]
    return " ".join(one for line in typed for one in line[1 + (line[0] in GROUPS) :] if one[0] != "-")


GROUPS = ("job", "share")


def values_of(data: object) -> Iterator[str]:
    """The texts of a file, but not the names of its fields."""
    for one in data.values() if isinstance(data, dict) else data if isinstance(data, list) else ():
        yield from values_of(one)
    if isinstance(data, str):
        yield data


def words_in(*texts: str) -> set[str]:
    return {word for text in texts for word in re.findall(r"[^\W\d_]{3,}", text.casefold())}


def strangers(text: str, known: set[str]) -> list[str]:
    """Words of a screen that are neither marked nor known."""
    plain = re.sub(AS_TYPED, " ", left(text))
    plain = re.sub(PARTS_OF_NAMES, "", plain)
    words_left = re.findall(r"\b(?![a-f]{8}\b)[^\W\d_]{3,}\b", plain)  # no part of an id
    return [word for word in words_left if word.casefold() not in known and len({*word}) > 1]


@pytest.mark.parametrize("name", COMMANDS)
def test_help_has_no_word_of_its_own(
    jackfield: Run, pretended: None, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    jackfield("settings", "--language", CODE)
    known = known_words("OPTIONS COMMAND ARGS", *topics()) | words_of_options()
    assert strangers(jackfield(*name.split(), "--help").out, known) == []
    assert strangers(jackfield(*name.split(), "--no-such-option").err, known | {"such"}) == []


JOB = (
    "job",
    "add",
    "Norwell",
    "NV40-210",
    "--job",
    "J-12",
    "--client",
    "Alder",
    "--place",
    "Mill",
    "--day",
    "today",
)
#: Words of commands; those that change the book come last. ``*``: a file of the test.
SCREENS = """
    find nv40-210
    find nv40
    find Zzyzx
    find qq
    show Norwell NV40-210
    show Nobody X1
    path Norwell NV40-210
    path Norwell NV40-210 --inputs optical --taken optical
    path --job J-12
    path Norwell NV40-210 --taken arc --length 30
    path Norwell NV40-210 --svg *.svg
    evidence Norwell NV40-210
    evidence Norwell --year 2014
    evidence Nowhere
    job list
    job list --open
    job list zz
    job show J-12
    job show J-12 --states
    job change J-12 --year 2014 --taken optical
    job call J-12
    job call J-12 maybe_so
    day
    day --print
    day tomorrow
    day --html *.html
    pack --day today
    pack Norwell --year 2014
    pack Norwell NV40-210 --print
    pack --day 2031-01-01
    pack Norwell NV40-210 --target 0.99
    stock
    stock DAC=2
    stock --day today
    stock
    sheet Norwell NV40-210 --out *.html
    sheet --job J-12 --out *.html
    tag Norwell NV40-210 --out *.svg
    isolate --list
    isolate Norwell NV40-210 --complaint no-sound
    isolate Norwell NV40-210 --complaint hum --answer mute-test=stays
    isolate --complaint no-sound --ask
    loop --room 5x4
    loop --room 5x4 --route joists --driver-current 4 --driver-voltage 8
    loop --room 5x4 --turns 1 --driver-current 4 --driver-voltage 8 --plot --spill -32
    loop --length 5m --width 4m --layout eight
    loop --room 5x4 --units feet
    loop --room 5x4 --svg *.svg
    loop --ring 0.4 --use chair --driver-current 4 --driver-voltage 8
    loop --job J-12 --room 5x4 --route joists --keep
    job show J-12
    day --print
    pack --day today --print
    tone sine --seconds 1 --out *.wav
    tone pink --seconds 1 --out *.wav
    readings *.toml
    readings *.toml --record Norwell NV40-210
    readings *.toml --job J-12
    visits
    visits zz
    visits --limit 1
    history Norwell NV40-210
    history Nobody X1
    settings
    settings --driver bench --driver-current 4 --driver-voltage 8 --driver-least-load 2
    settings --driver other
    loop --room 5x4
    settings --units feet
    loop --room 17x13
    path Norwell NV40-210 --length 10
    settings --units metric
    doctor
    doctor --mend
    backup
    backup --list
    restore --replace
    dump *.jsonl
    dump *.csv
    load *.csv --dry-run
    load *.csv
    load *.csv
    record Norwell NV50-100 opt:ok hp:mute
    record Norwell NV50-10 rca=AUDIO
    record
    merge Norwell NV50-10 --into Norwell NV50-100
    undo
    undo
    share out *.jsonl
    share out *.jsonl --replace
    share in *.jsonl --dry-run
    share in *.jsonl
    share bundles
    share review
    share key
    share trust
    share undo zz
    job done J-12 --used DAC
    job list --done
    find
""".splitlines()


@pytest.mark.parametrize("book", ["with a visit", "empty"])
def test_screens_have_no_word_of_their_own(
    jackfield: Run,
    pretended: None,
    visit_file: VisitFile,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    book: str,
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    monkeypatch.chdir(tmp_path)
    files = {
        "toml": '[[positions]]\nname = "sofa"\nfield_ma_per_m = 300\nnoise_off_dba = -30\n'
        "response_db = { 100 = -6.0, 1000 = 0.0, 5000 = -2.0 }\n[loop]\nlength_m = 5.0\nwidth_m = 4.0\n",
        "csv": "make,model,date,form,marking,oddity\nTarnow,T9,2020-03-02,toslink,OPTICAL,x\n",
    }
    for ending, text in files.items():
        (tmp_path / f"file.{ending}").write_text(text, encoding="utf-8")
    jackfield("settings", "--language", CODE)
    if book == "with a visit":
        jackfield("record", "--file", visit_file())
        jackfield(*JOB)
    known = known_words(
        visit_file().read_text("utf-8"),
        " ".join((data_of([" ".join(JOB), *SCREENS]), *files.values())),
        str(tmp_path),
    )
    found = {}
    for line in SCREENS:
        done = jackfield(*(f"file.{word[2:]}" if word.startswith("*.") else word for word in line.split()))
        # Errors have a test of their own below.
        said = "\n".join(one for one in done.err.splitlines() if not one.startswith("jackfield: "))
        if words_left := strangers(f"{done.out}\n{said}", known):
            found[line] = words_left
    assert found == {}, json.dumps(found, indent=1)


#: Commands that must fail, with something wrong for each package; ``*``: a file of the test.
ERRORS = """
    find Norwell year:soon
    find -- make:
    find --batch *.missing
    find --photo *.missing
    show
    path Norwell NV40-210 --inputs teleport
    path Norwell NV40-210 --length 900
    path Norwell NV40-210 --length -3
    path Norwell NV40-210 --driver nobody
    path Norwell NV40-210 --have dacc
    path Norwell NV40-210 --taken teleport
    path --panel *.wrong
    path --job J-99
    evidence Norwell --year 1890
    evidence Norwell --size 9000
    evidence Norwell --kind spoon
    record Norwell NV1 opt:okk
    record Norwell NV1 teleport:ok
    record Norwell NV1 opt:ok --date 2031-01-01
    record Norwell NV1 opt:ok --date soon
    record --file *.missing
    record --file *.wrong
    record --file *.json
    record --photo *.wrong Norwell NV1
    load *.missing
    load *.wrong
    load *.json
    share in *.json
    share trust zz
    share key zz
    share undo zz
    correct zz --file *.json
    withdraw zz
    merge Norwell NV1 --into Nobody X1
    restore
    restore zz
    job show J-99
    job add Tarnow --day soon
    job add Tarnow --file *.json
    pack --target 2
    pack --day soon
    pack *.wrong
    pack *.json
    stock DAC=many
    stock teleporter=3
    isolate --complaint teleport
    isolate Norwell NV40-210 --complaint no-sound --answer zz
    isolate Norwell NV40-210 --complaint no-sound --answer mute-test=zz
    loop --room 5x
    loop --room 500x400
    loop --room 5x4 --route teleport
    loop --room 5x4 --height 90
    loop --room 5x4 --driver-current 4
    loop --room 5x4 --awg 99
    loop --length 5m
    tone teleport
    tone sine --level 90
    tone sine --seconds 0
    readings *.wrong
    readings *.json
    listen *.wrong
    manual *.wrong --set Norwell NV1
    sheet Nobody X1 --out *.html
    sheet Norwell NV40-210 --out missing/page.html
    tag Nobody X1 --out *.svg
    settings --units stones
    settings --driver-current 900
    guide teleport
    visits --limit 0
    teleport
""".splitlines()


def test_errors_have_no_word_of_their_own(
    jackfield: Run,
    pretended: None,
    visit_file: VisitFile,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file.wrong").write_text('{"date": "soon", "colour": 3', encoding="utf-8")
    (tmp_path / "file.json").write_text('{"date": "2026-03-04", "colour": [], "jobs": 3}', encoding="utf-8")
    jackfield("settings", "--language", CODE)
    jackfield("record", "--file", visit_file())
    visit = values_of(json.loads(visit_file().read_text("utf-8")))
    known = known_words(*visit, data_of(ERRORS), str(tmp_path), *NAMED, *topics())
    found, passed = {}, []
    for line in filter(None, map(str.strip, ERRORS)):
        done = jackfield(*(f"file.{word[2:]}" if word.startswith("*.") else word for word in line.split()))
        if not done.code:
            passed.append(line)
        if words_left := strangers(done.err, known):
            found[line] = (words_left, done.err)
    assert passed == []
    assert found == {}, json.dumps(found, indent=1)


def sql(*statements: str) -> Callable[[Path], None]:
    def run(file: Path) -> None:
        with closing(sqlite3.connect(file)) as db, db:
            db.executescript(";".join(statements))

    return run


def written(content: bytes) -> Callable[[Path], object]:
    return lambda file: file.write_bytes(content)


NO_DATABASE = written(b"no database" * 999)
#: What another program may do to a book or its index: the file, the damage, and what the doctor says of it.
DAMAGE: dict[str, tuple[str, Callable[[Path], object], str]] = {
    "index gone": ("keys.sqlite", Path.unlink, "cannot be opened"),
    "index no database": ("keys.sqlite", NO_DATABASE, "cannot be read"),
    "other format": ("keys.sqlite", sql("UPDATE meta SET value = 99 WHERE name = 'format'"), "has format"),
    "other count": ("keys.sqlite", sql("UPDATE meta SET value = 7 WHERE name = 'sets'"), "holds"),
    "no keys": ("keys.sqlite", sql("DELETE FROM keys"), "no query can find it"),
    "no words": ("*.seg", written(b"no words"), "is not as it was written"),
    "no pointer": ("current", Path.unlink, "holds no index"),
    "no trigger": (
        "book.sqlite",
        lambda file: sql(f"DROP TRIGGER {names_of(file, 'trigger')[0]}")(file),
        "is missing: recorded facts could be changed",
    ),
    "own index": ("book.sqlite", sql("CREATE INDEX extra ON visit (id)"), "belongs to no book"),
    "book no database": ("book.sqlite", NO_DATABASE, "is no book"),
    "book cut off": ("book.sqlite", lambda file: os.truncate(file, file.stat().st_size // 2), ""),
}


def names_of(file: Path, kind: str) -> list[str]:
    with closing(sqlite3.connect(file)) as db:
        return [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = ?", (kind,))]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # Whoosh leaves its files open
@pytest.mark.parametrize("damage", DAMAGE)
def test_what_the_doctor_finds_has_no_word_of_its_own(
    jackfield: Run, pretended: None, visit_file: VisitFile, home: Path, tmp_path: Path, damage: str
) -> None:
    jackfield("settings", "--language", CODE)
    jackfield("record", "--file", visit_file())
    jackfield("find", "kitchen")
    name, break_it, said = DAMAGE[damage]
    [file] = [one for one in home.rglob(name) if one.is_file()]
    known = known_words(
        str(tmp_path), "Norwell", "extra", "visits", *names_of(home / "book.sqlite", "trigger")
    )
    break_it(file)
    for option in ("", "--json", "--mend"):
        done = jackfield("doctor", *filter(None, [option]))
        told = " ".join(said_in(done.json)) if option == "--json" and done.out else done.out
        assert said in told + done.err or option == "--mend"
        assert strangers(f"{told}\n{done.err}", known) == []


def said_in(answer: Any) -> Iterator[str]:
    """The sentences in the answer of the doctor to a program."""
    yield from (fault for check in answer["checks"] for fault in check["wrong"])
    yield from answer["mended"]


def test_a_position_without_a_name_is_called_by_its_number(
    jackfield: Run, pretended: None, tmp_path: Path
) -> None:
    file = tmp_path / "readings.toml"
    file.write_text(
        "[[positions]]\nfield_ma_per_m = 300\n[[positions]]\nfield_ma_per_m = 30\n"
        "x_m = 0\ny_m = 0\nheight_m = 0\n[loop]\nlength_m = 5.0\nwidth_m = 4.0\n"
    )
    jackfield("settings", "--language", CODE)
    done = jackfield("readings", file)
    assert "⟦position ⟧2" in done.out + done.err
    assert "⟦position ⟧⟦position" not in done.out + done.err
    assert strangers(done.out + done.err, known_words(str(tmp_path))) == []


#: Commands that ask, and what is typed; the keys are those of the pretended language, which are the English.
DIALOGS = {
    "share review --ask": "zz\ny\n",
    "isolate --complaint no-sound --ask": "zz\nw\n1\ns\nu\n2\n1\n1\n1\nmended 1\ngood 1\nq\n",
    "isolate --ask": "no-sound\noptical\n1\nq\n",
    "job call J-12 --ask": "maybe\n1 no\n\n",
    "record --ask": "Norwell\nNV77-1\n2012\nopt=OPTICAL OUT:ok\nhp\n\nzz\nout\n\n\n?\n\nnote\ny\n",
}


def test_dialogs_have_no_word_of_their_own(
    jackfield: Run, pretended: None, visit_file: VisitFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    jackfield("settings", "--language", CODE)
    jackfield("record", "--file", visit_file())
    jackfield(*JOB)
    typed = [word for said in DIALOGS.values() for word in said.split()]
    typed += [word for kind in ("form", "taken") for one, _ in typed_words(kind) for word in one.split()]
    visit = values_of(json.loads(visit_file().read_text("utf-8")))
    known = known_words(*visit, data_of([" ".join(JOB)]), *typed)
    found = {}
    for line, said in DIALOGS.items():
        done = jackfield(*line.split(), stdin=said)
        if words_left := strangers(f"{done.out}\n{done.err}", known):
            found[line] = (words_left, done.out, done.err)
    assert found == {}, json.dumps(found, indent=1, ensure_ascii=False)


def test_the_search_for_strange_words_can_find_one() -> None:
    assert strangers("⟦Say ⟦this⟧ word⟧: Norwell, and that", {"norwell"}) == ["and", "that"]
