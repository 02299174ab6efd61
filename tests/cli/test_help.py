"""Each command and option has its help in every language, and click says its own words in it."""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from kb.base.messages import LANGUAGES, messages
from kb.cli.command import Command, Group
from kb.cli.commands import jackfield as commands
from tests.cli.conftest import Run

OTHERS = [code for code in LANGUAGES if code != LANGUAGES[0]]
#: Words of click that no command of ours can bring about.
NOT_SAID = re.compile(
    r"deprecat|Editing failed|Windows error|defined twice|declar|same flag|UUID|Bash|standard stream|colour"
    r"|Could not open|unknown error|does not exist|is a (file|directory)\.|is not (read|writ|execut)able"
    r"|does not match the format|valid boolean|Press any key|Repeat for confirmation|entered values"
    r"|Do you want|Confirm the action|env var|dynamic|Missing parameter|Missing \{|No such command|Aborted"
    r"|Invalid start character|Value must be an iterable|len_type|^(d|file|directory|path)$|Choice\("
    r"|and exit|'\{command\} \{option\}' for help",
    re.IGNORECASE,
)


def every(command: click.Command = commands, above: str = "") -> Iterator[tuple[str, click.Command]]:
    """All commands by the words that call them."""
    yield above, command
    if isinstance(command, Group):
        for name in command.table:
            inner = command.get_command(click.Context(command), name)
            assert inner is not None
            yield from every(inner, f"{above} {name}".strip())


COMMANDS = dict(every())


def option_keys(words: str, option: click.Option) -> list[str]:
    parts, name = ["help", *words.split()], max(option.opts, key=len).lstrip("-")
    return [f"{'/'.join(parts[:n])}/{name}" for n in range(len(parts), 1, -1)] + [f"help/option/{name}"]


def options(command: click.Command, words: str) -> list[click.Option]:
    context = click.Context(command, info_name=words)
    return [one for one in command.get_params(context) if isinstance(one, click.Option)]


@pytest.mark.parametrize("words", COMMANDS)
def test_a_command_and_its_options_have_their_help(words: str) -> None:
    assert isinstance(COMMANDS[words], Command)
    known = messages()
    assert "/".join(["help", *words.split()]) in known
    assert not words or "/".join(["help", *words.split(), "short"]) in known
    lacking = [
        option.opts for option in options(COMMANDS[words], words)
        if not any(key in known for key in option_keys(words, option))
    ]  # fmt: skip
    assert lacking == []


def test_every_help_of_the_catalogue_is_that_of_a_command_or_option() -> None:
    used = {
        "/".join(["help", *words.split(), *end]) for words in COMMANDS for end in ([], ["short"], ["end"])
    }
    for words, command in COMMANDS.items():
        for option in options(command, words):
            used.add(next(key for key in option_keys(words, option) if key in messages()))
    assert {key for key in messages() if key.partition("/")[0] == "help"} - used == set()


def test_the_examples_of_a_command_are_only_what_is_typed() -> None:
    for words, command in COMMANDS.items():
        for line in (command.help or "").splitlines():
            assert not line.strip() or re.match(r" *(jackfield |--)", line), (words, line)


@pytest.mark.parametrize("code", OTHERS)
def test_help_is_in_the_language_of_the_settings(
    jackfield: Run, tmp_path: Path, code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LANG", "fr_FR.UTF-8")
    english = jackfield("find", "--help").out
    home = str(tmp_path / "other")
    jackfield("settings", "--language", code, "--home", home)
    said = messages(code)
    for words in (("find", "--home", home), ("--home", home, "find"), ("find", f"--home={home}")):
        out = " ".join(jackfield(*words, "--help").out.split())
        for key in (
            "click/usage",
            "click/options",
            "help/find/limit",
            "help/option/json",
            "help/option/help",
        ):
            assert str(said[key]) in out
    assert str(said["help/path/short"]) in " ".join(jackfield("--home", home, "--help").out.split())
    assert jackfield("find", "--help").out == english
    assert str(said["click/missing-argument"]) in jackfield("evidence", "--home", home).err
    assert jackfield("evidence").err.startswith("jackfield: Missing argument 'MAKE'")


def test_what_stands_for_what_is_typed_is_in_spanish_as_well(jackfield: Run) -> None:
    jackfield("settings", "--language", "es")
    out = " ".join(jackfield("record", "--help").out.split())
    for shown in ("[OPCIONES] [MARCA MODELO [AÑO] [TOMA]...]", "--date FECHA", "FORMA[=RÓTULO][:PALABRA"):
        assert shown in out
    english = r"\b(OPTIONS|COMMAND|ARGS|MAKE|MODEL|YEAR|FILE|TEXT|DATE|NAME|VALUE|WORD|LIST)\b"
    assert [words for words in COMMANDS if re.search(english, jackfield(*words.split(), "--help").out)] == []
    assert jackfield("evidence").err.startswith("jackfield: Falta el argumento 'MARCA'.")
    assert "Valor no válido para 'SEÑAL': 'foo'" in jackfield("tone", "foo").err
    assert "path: falta MARCA MODELO, o --panel" in jackfield("path").err
    asked = jackfield("record", "--ask", stdin="Norwell\nNV40\n\n?\ncascos:callan\n\n\nn\n")
    assert "también  óptica, cascos," in asked.err
    assert "altavoces: callan" in asked.out


@pytest.mark.parametrize(
    ("typed", "code"), [("sí", 0), ("S", 0), ("y", 0), ("", 0), ("n", 1), ("no", 1), ("x\nno", 1)]
)
def test_a_question_of_yes_or_no_is_answered_in_the_language_of_the_settings(
    jackfield: Run, typed: str, code: int
) -> None:
    jackfield("settings", "--language", "es")
    done = jackfield("record", "--ask", stdin=f"Norwell\nNV40\n\nopt:ok\n\n\n{typed}\n")
    assert "[S/n]" in done.err
    assert done.code == code
    assert jackfield("find", "nv40").code == code


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_help_fits_eighty_columns(jackfield: Run, code: str) -> None:
    jackfield("settings", "--language", code)
    for words in COMMANDS:
        out = jackfield(*words.split(), "--help").out
        assert max(map(len, out.splitlines())) <= 80, words


def words_of_click() -> Iterator[str]:
    """What click hands to gettext."""
    for path in Path(click.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("_", "ngettext"):
                said = node.args[1 if getattr(node.func, "id", "") == "ngettext" else 0]
                if isinstance(said, ast.Constant):
                    yield str(said.value)


def test_the_catalogue_has_the_words_that_click_can_say() -> None:
    ours = {
        one if isinstance(one, str) else one["other"]
        for key, one in messages().items()
        if key.startswith("click/") and not key.startswith("click/type/")  # no words, but names of types
    }
    theirs = {one for one in words_of_click() if not NOT_SAID.search(one)}
    assert theirs - ours == set()
    assert ours - theirs == {"required", "%(prog)s, version %(version)s"} - theirs


@pytest.mark.parametrize("code", OTHERS)
def test_words_of_click_hold_the_same_values(code: str) -> None:
    for key in (one for one in messages() if one.startswith("click/")):
        pair = [messages(language)[key] for language in (LANGUAGES[0], code)]
        one, other = (
            [{field for _, field, _, _ in string.Formatter().parse(form) if field} for form in forms]
            for forms in ([each] if isinstance(each, str) else [*each.values()] for each in pair)
        )
        assert one == other, key


def test_help_loads_no_more_than_its_words_name() -> None:
    import subprocess
    import sys

    show = (
        "import sys; from kb.cli.main import main\n"
        "try: main(['find', '--help'])\n"
        "finally: print('', *sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", show], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "kb.cli.find" in loaded
    assert not {"kb.loop.plan", "kb.path.connect"} & loaded
