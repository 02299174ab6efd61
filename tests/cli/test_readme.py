"""Every command that README and guide show is typed as it is printed, on the demo book, and is understood."""

from __future__ import annotations

import ast
import json
import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from kb import Book, visits_from
from kb.cli.commands import COMMANDS
from kb.cli.share import PARTS
from kb.loop.tone import Tone, wav
from kb.read.picture import can_import
from tests.cli.conftest import Run
from tests.read.papers import NV40, paper
from tests.read.pictures import photo

ROOT = Path(__file__).parents[2]
CAN_READ = all(can_import(name) for name in ("pypdfium2", "reportlab"))
GUIDE = ROOT / "data" / "guide"
DEMO = ROOT / "data" / "demo" / "visits.jsonl"
PLACES = {"README": ROOT / "README.md", **{path.stem: path for path in sorted(GUIDE.glob("*.md"))}}
NOTES = "Set maker,Model,Date,Form,Marking\nNorwell,NV50-100,03/02/2020,toslink,OPTICAL OUT\n"

#: Exit codes beside 0 that are right for a command: a true "no", or a question back.
OTHERWISE = {
    "find tarnow t32-6": {1},  # nobody has met it yet
    "record": {2},  # alone, it asks at a terminal, which is not here
    "load notes.csv --dry-run": {2},  # names the column that is not known yet
    "restore": {2},  # a book exists: it says what to add
    "pack --day 2026-12-01": {1},
    "visits --since 2025-11 --by RT --job J-1199 --outcome silent": {1},
    "readings data/demo/readings.toml --job J-20": {1},
    "loop --job J-20 --keep": {1},
    "pack jobs.json": {1},
    "pack jobs.json --target 0.9 --print": {1},
    "pack Norwell --year 2014 --inputs line-3.5": {1},
    "pack Norwell --year 2014 --have DAC=2": {1},
}
#: What needs another machine, or runs until it is stopped.
ELSEWHERE = ("serve", "share push", "share pull", "--store")


def blocks(text: str, language: str = "") -> list[tuple[str, str]]:
    """What is between fences of this language, in order: the file's name behind the language, the text."""
    fenced = re.findall(r"^```(\w*) ?([\w.]*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return [(name, inside) for said, name, inside in fenced if said == language]


def commands(text: str) -> Iterator[str]:
    """The lines that are typed, without the comments behind them."""
    for line in "".join(inside for _, inside in blocks(text)).splitlines():
        typed = line.split("  # ")[0].strip()
        if typed.startswith("jackfield "):
            yield typed.removeprefix("jackfield ")


def options(text: str) -> Iterator[tuple[str, str]]:
    """Commands that are named within a sentence or table, each with the options named with it."""
    for typed in re.findall(r"`jackfield ([a-z]+)((?: [^`]*)?)`", text):
        yield from ((typed[0], option) for option in re.findall(r"--[a-z-]+", typed[1]))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo book, made once; each test gets a copy."""
    folder = tmp_path_factory.mktemp("demo") / "demo-book"
    with Book.open(folder) as book:
        book.record(visits_from([json.loads(line) for line in DEMO.read_text("utf-8").splitlines()]))
        book.find("norwell")
    return folder


@pytest.fixture(scope="module")
def recordings() -> dict[str, bytes]:
    """The recordings that the guide listens to, by name: the signals themselves."""
    made = {name: wav(tone, seconds=12) for name, tone in (("sine", Tone.SINE), ("pink", Tone.PINK))}
    return {**made, **{name: wav(Tone.HUM, seconds=12, level_db=-70) for name in ("off", "on")}}


def write_manuals() -> None:
    """The manuals that the guide reads, if this machine can make and read any."""
    if not CAN_READ:
        return
    Path("nv40.pdf").write_bytes(paper(*NV40))
    Path("manuals").mkdir()
    Path("manuals/Norwell NV40-210, NV50-210.pdf").write_bytes(paper(*NV40))


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the first test that needs it leaves the folder that every command is typed in."""
    return tmp_path_factory.mktemp("prepared") / "all"


@pytest.fixture
def at_work(
    jackfield: Run,
    home: Path,
    demo: Path,
    recordings: dict[str, bytes],
    prepared: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Run:
    """The demo book, in a folder with the files that README and guide show."""
    monkeypatch.chdir(tmp_path)
    if prepared.exists():
        shutil.copytree(prepared, tmp_path, dirs_exist_ok=True)
        return jackfield
    for place in PLACES.values():
        for language in ("json", "toml"):
            for name, text in blocks(place.read_text("utf-8"), language):
                Path(name).write_text(text)
    shutil.copytree(ROOT / "data" / "demo", "data/demo")
    for name, sound in recordings.items():
        Path(f"{name}.wav").write_bytes(sound)
    write_manuals()
    if can_import("PIL"):
        Path("label.jpg").write_bytes(photo())
        Path("panel.jpg").write_bytes(photo(("OPTICAL OUT", "HEADPHONE")))
    Path("queries.txt").write_text("nv40-210\n")
    Path("said.txt").write_text("")
    Path("notes.csv").write_text(NOTES)
    south = ("--home", str(tmp_path / "south"))
    assert jackfield("record", "Tarnow", "T32", "opt=OPTICAL OUT:ok", *south).code == 0
    assert jackfield("share", "key", "south.key", "--name", "south", *south).code == 0
    assert jackfield("share", "out", "south.jsonl.gz", "--sign", *south).code == 0
    shutil.copytree(demo, home)
    assert jackfield("record", "Norwel", "NV4O-210", "opt=OPTICAL OUT").code == 0
    saved = ("isolate", "Norwell", "NV40-210", "--complaint", "no-sound", "--answers", "today.json")
    assert jackfield(*saved).code == 0
    loop = jackfield("loop", "--room", "5x4", "--json")
    Path("loop.json").write_text(loop.out)
    shutil.copytree(tmp_path, prepared)
    return jackfield


def test_every_command_is_in_the_table_and_in_an_example() -> None:
    text = PLACES["README"].read_text("utf-8")
    table = text.partition("## All commands")[2].partition("\n## ")[0]
    rows = [row.split("|")[1] for row in table.splitlines() if row.startswith("| `")]
    assert {name for row in rows for name in re.findall(r"`(\w+)`", row)} == set(COMMANDS)
    shown = {line.split()[0] for place in PLACES.values() for line in commands(place.read_text("utf-8"))}
    assert shown - {"--store"} >= set(COMMANDS) - {"guide"}


@pytest.mark.parametrize("place", PLACES)
def test_what_is_shown_works_as_typed(at_work: Run, place: str) -> None:
    (first, *_) = at_work("show", "Norwell", "NV40-210", "--json").json["visits"]
    for typed in commands(PLACES[place].read_text("utf-8")):
        if typed.startswith(ELSEWHERE) or (typed.startswith("manual") and not CAN_READ):
            continue
        if "--svg field" in typed:
            pytest.importorskip("matplotlib")
        if "--photo" in typed and not can_import("rapidocr"):
            continue  # tests/read tells that the extra is not installed
        line, _, target = typed.replace("3fa2b1c0", first["id"]).partition(" > ")
        line, _, source = line.partition(" < ")
        stdin = Path(source.strip()).read_text() if source else ""
        done = at_work(*shlex.split(line), stdin=stdin)
        assert done.code in {0, *OTHERWISE.get(typed, ())}, f"{typed}: {done.code}\n{done.out}{done.err}"
        if target:
            Path(target.strip()).write_text(done.out)


def test_the_examples_on_the_first_screen_look_up_pack_and_record() -> None:
    """The three uses come before everything else, within forty lines."""
    first = "\n".join(PLACES["README"].read_text("utf-8").splitlines()[:40])
    assert [line.split()[0] for line in commands(first)] == ["find", "pack", "record"]


def test_the_files_that_are_shown_are_right(at_work: Run) -> None:
    readings = "data/demo/readings.toml"
    ((_, beginning),) = blocks(PLACES["README"].read_text("utf-8"), "toml")
    table = beginning.partition("\n")[2]  # behind a line with a comment
    assert table in Path(readings).read_text()
    assert at_work("record", "--file", "visit.json", "--json").json["recorded"]
    packed = at_work("pack", "jobs.json", "--json")
    assert len(packed.json["jobs"]) == len(json.loads(Path("jobs.json").read_text())["jobs"])
    assert at_work("pack", "jobs.toml", "--json").json["items"]
    assert "unknown" not in at_work("load", "notes.csv", "--mapping", "mapping.toml", "--dry-run").err


def test_every_option_that_a_text_names_exists(jackfield: Run) -> None:
    named = {found for place in PLACES.values() for found in options(place.read_text("utf-8"))}
    assert len(named) > 5
    for command, option in sorted(named):
        words = [command, "--help"]
        known = jackfield(*words).out
        if command == "share":
            known += "".join(jackfield("share", part, "--help").out for part in PARTS)
        assert option in known, f"{command} has no {option}"


def test_every_link_of_readme_and_guide_leads_somewhere() -> None:
    for place in PLACES.values():
        text = place.read_text("utf-8")
        heads = {
            re.sub(r"[^\w -]", "", line.lstrip("# ")).lower().replace(" ", "-")
            for line in text.splitlines()
            if line.startswith("#")
        }
        for link in re.findall(r"\]\(([^)]+)\)|src=\"([^\"]+)\"", text):
            target, _, anchor = (link[0] or link[1]).partition("#")
            assert "://" not in target, f"{place.name} needs a network for {target}"
            assert not target or (place.parent / target).exists(), f"{place.name}: {target}"
            assert target or anchor in heads, f"{place.name}: #{anchor}"


@pytest.mark.parametrize("place", ["README", "programs"])
def test_the_python_example_runs_on_the_demo_book(
    place: str,
    jackfield: Run,
    demo: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copytree(demo, "demo-book")
    ((_, code),) = blocks(PLACES[place].read_text("utf-8"), "python")
    ran: dict[str, object] = {"__name__": "example"}
    exec(compile(ast.parse(code), place, "exec"), ran)
    assert "DAC" in capsys.readouterr().out
    if place == "README":
        assert jackfield("find", "tarnow", "t50", "--home", "demo-book").code == 0


# -- the guide as a command --------------------------------------------------------------------------


def test_the_guide_lists_its_pages_and_shows_each(jackfield: Run) -> None:
    listed = jackfield("guide").out
    for path in sorted(GUIDE.glob("*.md")):
        title = path.read_text("utf-8").splitlines()[0].removeprefix("# ")
        assert re.search(rf"^{path.stem} +{re.escape(title)}$", listed, re.MULTILINE)
        assert jackfield("guide", path.stem).out.startswith(title)
        assert jackfield("guide", path.stem.upper(), "--json").json["markdown"] == path.read_text("utf-8")


def test_a_page_that_is_not_there_is_a_true_no_and_names_the_nearest(jackfield: Run) -> None:
    done = jackfield("guide", "sharin")
    assert (done.code, done.err) == (
        1,
        "jackfield: guide: there is no page on 'sharin'; did you mean 'sharing'?\n",
    )
    for wrong in ("../drivers", "/etc/passwd", "x\x1b[31m"):
        assert jackfield("guide", wrong).code == 1


@pytest.mark.parametrize("columns", [80, 60])
@pytest.mark.parametrize("topic", [path.stem for path in sorted(GUIDE.glob("*.md"))])
def test_no_word_of_the_guide_is_broken_in_a_narrow_terminal(
    jackfield: Run, monkeypatch: pytest.MonkeyPatch, columns: int, topic: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    out = jackfield("guide", topic).out
    assert max(map(len, out.splitlines())) <= columns
    source = re.sub(r"\]\((\w+)\.md\)", r" \1 ", (GUIDE / f"{topic}.md").read_text("utf-8"))
    known = set(re.findall(r"\w{3,}", source + " jackfield guide"))
    long = {one for one in source.split() if len(one) > columns - 8}  # an address may be longer than a line
    broken = {word for word in re.findall(r"\w{3,}", out) if word not in known}
    assert not {word for word in broken if not any(word in one for one in long)}


def test_the_help_of_each_command_names_its_page_of_the_guide(jackfield: Run) -> None:
    pages = {name: page for name, (_, page) in COMMANDS.items() if name != "guide"}
    for name, topic in pages.items():
        assert (GUIDE / f"{topic}.md").exists()
        assert f"More: jackfield guide {topic}" in jackfield(name, "--help").out.replace("\n", "  ")
    for part in PARTS:
        assert "More: jackfield guide sharing" in jackfield("share", part, "--help").out
