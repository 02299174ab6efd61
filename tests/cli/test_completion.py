"""The shell completes commands, options, makes and models, and nothing that a name holds can do harm."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from kb.cli.completion import VARIABLE
from kb.store import known_names
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]
Tab = Callable[..., list[str]]


@pytest.fixture
def tab(jackfield: Run, monkeypatch: pytest.MonkeyPatch) -> Tab:
    """What follows when the words are typed and the last is to be completed; it never complains."""

    def press(*typed: str, shell: str = "bash") -> list[str]:
        with monkeypatch.context() as environment:
            environment.setenv(VARIABLE, f"{shell}_complete")
            environment.setenv("COMP_WORDS", "\n".join(["jackfield", *typed]))
            environment.setenv("COMP_CWORD", typed[-1] if shell == "fish" else str(len(typed)))
            done = jackfield()
        assert done.err == ""
        return [line for line in done.out.splitlines() if line]

    return press


@pytest.fixture
def book(jackfield: Run, home: Path, tmp_path: Path) -> Path:
    names = ("Norwell,NV40-210", "Norwell,NV50-100", "Norwell,T9", "Nordal,NV7", "Tarnow,T32-6")
    noted(jackfield, tmp_path / "book.csv", names)
    return home / "book.sqlite"


def noted(jackfield: Run, notes: Path, names: Iterable[str]) -> None:
    lines = "".join(f"{name},2020-03-02,toslink,OPTICAL OUT\n" for name in names)
    notes.write_text(f"make,model,date,form,marking\n{lines}", encoding="utf-8")
    assert jackfield("load", notes).code == 0


def plain(*names: str) -> list[str]:
    return [f"plain,{name}" for name in names]


def standing(folder: Path) -> dict[str, tuple[int, int, bytes]]:
    """Every file below a folder with its size, time of change and content."""
    return {
        str(path): (path.stat().st_size, path.stat().st_mtime_ns, path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# -- what is completed ----------------------------------------------------------------------------


def test_a_command_an_option_and_a_choice_are_completed(tab: Tab) -> None:
    assert tab("sh") == plain("show", "sheet", "share")
    assert tab("share", "o") == plain("out")
    assert tab("path", "--speakers") == plain("--speakers-needed", "--speakers-free")
    assert tab("record", "--basis", "te") == plain("tested")
    assert "plain,--json" in tab("find", "--")


def test_a_driver_an_input_and_a_complaint_are_completed_by_their_names(jackfield: Run, tab: Tab) -> None:
    assert jackfield("settings", "--driver", "Bench two").code == 0
    assert tab("path", "--driver", "be") == plain("Bench\\ two", "bench\\ driver")
    assert tab("path", "--inputs", "op") == plain("optical")
    assert tab("path", "--inputs", "line-3.5,op") == plain("line-3.5,optical")
    assert tab("path", "--taken", "coa") == plain("coaxial")
    assert tab("isolate", "--complaint", "no") == plain("no-sound")
    assert tab("pack", "--kind", "sound") == plain("soundbar")
    assert tab("path", "--have", "DA") == plain("DAC")
    assert tab("loop", "--route", "jo") == plain("joists")
    assert tab("guide", "shar") == plain("sharing")


def test_find_completes_makes_and_models_in_any_case(tab: Tab, book: Path) -> None:
    assert tab("find", "nv") == plain("NV7", "NV40-210", "NV50-100")
    assert tab("find", "NO") == plain("Nordal", "Norwell")
    assert tab("find", "t") == plain("Tarnow", "T9", "T32-6")
    assert tab("find", "zz") == []


def test_find_completes_the_models_of_the_make_before_it(tab: Tab, book: Path) -> None:
    assert tab("find", "norwell", "nv") == plain("NV40-210", "NV50-100")
    assert tab("find", "muted", "nv") == plain("NV7", "NV40-210", "NV50-100")


@pytest.mark.parametrize(
    "command", ["show", "path", "pack", "record", "evidence", "history", "isolate", "sheet", "job add"]
)
def test_make_and_model_are_completed_one_after_the_other(tab: Tab, book: Path, command: str) -> None:
    words = command.split()
    assert tab(*words, "nor") == plain("Nordal", "Norwell")
    assert tab(*words, "Norwell", "NV") == plain("NV40-210", "NV50-100")
    assert tab(*words, "Norwell", "nv\\ 4") == plain("NV40-210")
    assert tab(*words, "Norwell", "") == plain("NV40-210", "NV50-100", "T9")
    assert tab(*words, "Nobody", "NV") == []


def test_a_jack_behind_the_model_is_no_name(tab: Tab, book: Path) -> None:
    assert tab("record", "Norwell", "NV40-210", "n") == []


def test_files_and_folders_are_left_to_the_shell(tab: Tab, book: Path) -> None:
    assert tab("load", "no") == ["file,no"]
    assert tab("path", "Norwell", "NV40-210", "--svg", "c") == ["file,c"]
    assert tab("pack", "jobs") == ["file,jobs"]
    assert tab("backup", "/me") == ["dir,/me"]
    assert tab("--home", "de") == ["dir,de"]


def test_the_folder_that_is_named_is_the_one_that_is_read(
    tab: Tab, book: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("JACKFIELD_HOME", str(tmp_path / "elsewhere"))
    assert tab("find", "nord") == []
    assert tab("--home", str(book.parent), "find", "nord") == plain("Nordal")
    assert tab("find", "--home", str(book.parent), "nord") == plain("Nordal")
    assert not (tmp_path / "elsewhere").exists()


def test_a_withdrawn_set_and_a_spelling_given_up_are_not_completed(
    jackfield: Run, tab: Tab, book: Path
) -> None:
    visit = jackfield("history", "Nordal", "NV7", "--json").json["visits"][0]["id"]
    assert jackfield("withdraw", visit).code == 0
    assert tab("show", "nor") == plain("Norwell")
    assert jackfield("merge", "Norwell", "T9", "--into", "Norwell", "NV50-100").code == 0
    assert tab("show", "Norwell", "") == plain("NV40-210", "NV50-100")


def test_there_are_at_most_fifty_names(jackfield: Run, tab: Tab, tmp_path: Path) -> None:
    noted(jackfield, tmp_path / "notes.csv", [f"Norwell,NV{number}" for number in range(100, 170)])
    for typed in (("show", "Norwell", ""), ("find", "nv"), ("find", "norwell", "")):
        assert len(tab(*typed)) == known_names.MOST == 50


# -- what it leaves alone -------------------------------------------------------------------------


def test_a_missing_book_is_not_made(tab: Tab, home: Path) -> None:
    assert tab("find", "nv") == []
    assert tab("show", "Norwell", "NV") == []
    assert not home.exists()


def test_nothing_is_written_while_names_are_read(tab: Tab, book: Path) -> None:
    before = standing(book.parent)
    assert tab("find", "nv")
    assert tab("show", "Norwell", "NV")
    assert standing(book.parent) == before


@pytest.mark.parametrize("harm", ["text", "cut", "empty", "folder", "middle"])
def test_a_damaged_book_gives_nothing_and_stays_as_it_is(tab: Tab, book: Path, harm: str) -> None:
    whole = book.read_bytes()
    if harm == "folder":
        book.unlink()
        book.mkdir()
    else:
        middle = whole[:4096] + b"\xff" * (len(whole) - 4096)
        book.write_bytes({"text": b"no book", "cut": whole[:5000], "empty": b"", "middle": middle}[harm])
    before = standing(book.parent)
    assert tab("find", "nv") == []
    assert tab("show", "Norwell", "NV") == []
    assert standing(book.parent) == before


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_in_the_place_of_the_book_is_not_waited_for(tab: Tab, home: Path) -> None:
    home.mkdir()
    os.mkfifo(home / "book.sqlite")
    assert tab("find", "nv") == []


def test_a_book_that_another_program_holds_gives_nothing(tab: Tab, book: Path) -> None:
    with closing(sqlite3.connect(book, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN IMMEDIATE")
        other.execute("CREATE TABLE meanwhile (x)")
        other.execute("COMMIT")
        assert tab("find", "nv") == []


def test_a_shared_book_on_a_server_is_not_asked(
    tab: Tab, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert tab("--store", "postgresql://nowhere/book", "find", "nv") == []
    monkeypatch.setenv("JACKFIELD_STORE", "postgresql://nowhere/book")
    assert tab("find", "nv") == []


def test_reading_ends_when_its_time_is_over(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known_names, "TIME_S", -1.0)
    monkeypatch.setattr(known_names, "_STEPS", 1)
    assert known_names.makes(book, "") == []


def test_words_that_the_parser_cannot_read_give_nothing(tab: Tab, book: Path) -> None:
    assert tab("fnd", "nv") == []
    assert tab("--home", "~nobody-of-this-name", "find", "nv") == []
    assert tab("find", "\udcff") == []


@pytest.mark.parametrize("words", ["find nv", "path Norwell NV", "record Norwell NV", "pack nor", ""])
def test_a_completion_loads_no_database_library_and_no_search(book: Path, words: str) -> None:
    code = (
        "import sys; from kb.cli.main import run; run([]);"
        " print({'sqlalchemy', 'alembic', 'whoosh', 'flask', 'jinja2'} & set(sys.modules), file=sys.stderr)"
    )
    asked = {
        VARIABLE: "bash_complete",
        "COMP_WORDS": "\n".join(["jackfield", *words.split()]),
        "COMP_CWORD": str(max(1, len(words.split()))),
    }
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env={**os.environ, **asked}, capture_output=True, text=True
    )
    assert done.stdout.startswith("plain,")
    assert done.stderr.strip() == "set()"


# -- names from other people ----------------------------------------------------------------------

HOSTILE = (
    "Q $(touch harm)",
    "Q `touch harm`",
    "Q; touch harm",
    "Q & touch harm #",
    "Q > harm",
    "Q \"quoted\" 'twice'",
    "Q * [a-z] ?",
    "Q {a,b}, c",
    "Q\\nback $HOME",
    "Q ~ é – ü",
)


@pytest.fixture
def hostile(jackfield: Run, visit_file: Callable[..., Path], tmp_path: Path) -> None:
    models = [f"{model} {number}" for number, model in enumerate(HOSTILE)]
    sources = [{"make": "Hale & Sons, $(touch harm)", "model": model} for model in models]
    whole = json.loads(visit_file().read_text(encoding="utf-8"))
    lines = [json.dumps(whole | {"source": source, "job": f"J-{at}"}) for at, source in enumerate(sources)]
    file = tmp_path / "visits.jsonl"
    file.write_text("\n".join(lines), encoding="utf-8")
    assert jackfield("record", "--file", file, "--new").code == 0


def installed(folder: Path) -> dict[str, str]:
    """An environment in which the shell finds ``jackfield``."""
    command = folder / "bin" / "jackfield"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m kb.cli.main "$@"\n', encoding="utf-8")
    command.chmod(0o755)
    path = os.pathsep.join([str(command.parent), os.environ["PATH"]])
    return {**os.environ, "PATH": path, "PYTHONPATH": str(ROOT), "LC_ALL": "C.UTF-8"}


BASH = """\
shopt -u histexpand 2>/dev/null; set +H
eval "$(_JACKFIELD_COMPLETE=bash_source jackfield)"
complete -p jackfield >/dev/null || exit 7
COMP_WORDS=(jackfield show "$1" "$2"); COMP_CWORD=3
_jackfield_completion jackfield
case $2 in [\\"\\']*) quote=${2:0:1} ;; *) quote= ;; esac
for one in "${COMPREPLY[@]}"; do
    eval "set -- $quote$one$quote"      # as readline puts it into the line, and Enter runs it
    printf '%s|%s\\n' "$#" "$1"
done
ls
"""


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not here")
@pytest.mark.parametrize("begun", ["", "q", '"Q', "'Q", "Q\\ "])
def test_in_bash_a_completed_name_is_one_word_and_runs_nothing(
    hostile: None, tmp_path: Path, begun: str
) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    make = "Hale\\ \\&\\ Sons\\,\\ \\$\\(touch\\ harm\\)"
    done = subprocess.run(
        ["bash", "--norc", "-c", BASH, "bash", make, begun],
        cwd=empty,
        env=installed(tmp_path),
        capture_output=True,
        text=True,
        encoding="utf-8",
    )
    assert done.stderr == ""
    wanted = {f"1|{model} {number}" for number, model in enumerate(HOSTILE)}
    assert set(done.stdout.splitlines()) == wanted  # and ls shows no file


@pytest.mark.skipif(shutil.which("fish") is None, reason="fish is not here")
def test_in_fish_a_name_with_a_comma_is_whole(hostile: None, tmp_path: Path) -> None:
    said = "_JACKFIELD_COMPLETE=fish_source jackfield | source; complete -C 'jackfield show hal'"
    done = subprocess.run(
        ["fish", "-N", "-c", said], cwd=tmp_path, env=installed(tmp_path), capture_output=True, text=True
    )
    assert done.stdout.splitlines() == ["Hale & Sons, $(touch harm)"]
    assert not (tmp_path / "harm").exists()


def test_fish_and_zsh_get_names_as_they_are_and_quote_them_themselves(tab: Tab, hostile: None) -> None:
    assert tab("show", "hal", shell="zsh") == ["plain", "Hale & Sons, $(touch harm)", "_"]
    assert tab("show", "hal", shell="fish") == ["plain,Hale & Sons, $(touch harm)"]


def test_the_script_for_fish_cuts_at_the_first_comma_only(
    jackfield: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, "fish_source")
    assert 'string split -m 1 "," $completion' in jackfield().out
    monkeypatch.setenv(VARIABLE, "zsh_source")
    assert "compdef _jackfield_completion jackfield" in jackfield().out


def test_a_shell_that_quotes_nothing_gets_plain_names_alone(tab: Tab, hostile: None, book: Path) -> None:
    assert "Norwell" in tab("show", "", shell="powershell")
    assert not any("harm" in line for line in tab("show", "", shell="powershell"))


@pytest.fixture
def doctored(book: Path) -> Iterator[Callable[[str], None]]:
    """Rename a make in the book, as no command would."""
    with closing(sqlite3.connect(book)) as db:
        db.execute("DROP TRIGGER visit_kept_update")

        def rename(make: str) -> None:
            db.execute("PRAGMA ignore_check_constraints = 1")
            db.execute("UPDATE visit SET make = ? WHERE set_key LIKE 'TARNOW/%'", (make,))
            db.commit()

        yield rename


@pytest.mark.parametrize(
    "make", ["--home=/tmp", "Tar\x1b[2Jnow", "Tar\nplain,now", "Tar\rnow", "Tar\u202enow", "T" * 5000, ""]
)
def test_a_name_that_steers_the_terminal_or_acts_as_an_option_is_left_out(
    tab: Tab, doctored: Callable[[str], None], make: str
) -> None:
    doctored(make)
    for shell in ("bash", "zsh", "fish"):
        assert tab("show", "tar", shell=shell) == []
