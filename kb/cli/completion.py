"""Complete commands, options, makes, models and file names in the shell.

The shell calls Jackfield with the variable ``_JACKFIELD_COMPLETE`` (click's protocol). Names come from other
people: they are quoted for the shell, and a name that could act as an option or steer a terminal is left out.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, Final

import click
from click.shell_completion import (
    BashComplete,
    CompletionItem,
    FishComplete,
    add_completion_class,
    split_arg_string,
)

from kb.base.text import LINE, visible
from kb.cli.session import Session, begun

VARIABLE: Final = "_JACKFIELD_COMPLETE"
_QUOTING: Final = ("bash", "zsh", "fish")  #: shells for which names are quoted, here or by the shell itself
_PLAIN: Final = re.compile(r"[\w./+-]+")  #: means itself in every shell
_FILES: Final = frozenset({"F", "FILE", "VISITFILE", "JOBSFILE", "BUNDLE"})


def complete(command: click.Command) -> int:
    """Print what the shell asked for; on trouble nothing, since a message would spoil the prompt."""
    add_completion_class(_Bash)
    add_completion_class(_Fish)
    prepare(command)
    session = begun(split_arg_string(os.environ.get("COMP_WORDS", "")))
    try:
        command.main([], prog_name="jackfield", complete_var=VARIABLE, standalone_mode=False, obj=session)
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else 0
    except (Exception, KeyboardInterrupt):
        return 1
    return 0


class _Bash(BashComplete):
    """Click's own script splits and expands what it is given; this one takes each line as it is."""

    source_template = """\
%(complete_func)s() {
    local line response
    COMPREPLY=()
    response=$(IFS=$'\\n'; env COMP_WORDS="${COMP_WORDS[*]}" COMP_CWORD="$COMP_CWORD" \\
        %(complete_var)s=bash_complete "$1" 2>/dev/null)
    while IFS= read -r line; do
        case $line in
            plain,*) COMPREPLY+=("${line#plain,}") ;;
            dir,*) compopt -o dirnames ;;
            file,*) compopt -o default ;;
        esac
    done <<< "$response"
}
complete -o nosort -F %(complete_func)s %(prog_name)s
"""

    def format_completion(self, item: CompletionItem[Any]) -> str:
        words = os.environ["COMP_WORDS"].split("\n")
        at = int(os.environ["COMP_CWORD"])
        sign = words[at][:1] if at < len(words) else ""
        value = str(item.value)
        if sign == '"':
            value = re.sub(r'(["$`\\])', r"\\\1", value)
        elif sign == "'":
            value = value.replace("'", "'\\''")
        else:
            value = re.sub(r"([^\w./+,=-])", r"\\\1", value)
        return f"{item.type},{value}"


class _Fish(FishComplete):
    """Click's own script cuts a name at its comma."""

    source_template = FishComplete.source_template.replace('string split ","', 'string split -m 1 ","')


class _Name(click.types.StringParamType):
    """The type of an argument that takes a make, a model or both, at completion."""

    def __init__(self, names: Callable[[Path, click.Context, str], list[str]], *, or_file: bool) -> None:
        self._names, self._or_file = names, or_file

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        given, whole, session = ctx.params, ctx.find_root().params, ctx.ensure_object(Session)
        if given.get("store") or whole.get("store") or session.store:
            return []  # a shared book is on another machine
        from kb.settings import BOOK

        found = [name for name in self._names(session.folder / BOOK, ctx, incomplete) if _harmless(name)]
        if not found and self._or_file:
            return click.Path().shell_complete(ctx, param, incomplete)
        return [CompletionItem(name) for name in found]


class _Path(click.Path):
    """A file or folder that is completed; what is typed is checked where it is opened."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        return value


def _harmless(name: str) -> bool:
    if not name or len(name) > LINE or name.startswith("-") or visible(name) != name:
        return False
    if "!" in name:  # between double quotes, bash finds no way to write it
        return False
    shell = os.environ.get(VARIABLE, "").partition("_")[0]
    return shell in _QUOTING or _PLAIN.fullmatch(name) is not None


class _Listed(click.types.StringParamType):
    """The type of an option whose values are known: those of a vocabulary, drivers, items, faults.

    ``several``: values with commas between; the last is completed.
    """

    def __init__(self, values: Callable[[Session], Iterable[str]], *, several: bool) -> None:
        self._values, self._several = values, several

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        before, comma, begun = incomplete.rpartition(",") if self._several else ("", "", incomplete)
        names = dict.fromkeys(self._values(ctx.ensure_object(Session)))
        fits = (name for name in names if name.casefold().startswith(begun.casefold()))
        return [CompletionItem(f"{before}{comma}{name}") for name in fits if _harmless(name)]


def prepare(command: click.Command) -> None:
    """Give the parameters of a command what completes them, by their names and by what stands for them."""
    for param in command.params:
        if param.type is not click.STRING:
            continue
        name, stands_for = param.name or "", set(re.findall("[A-Z]+", getattr(param, "metavar", None) or ""))
        if name == "words" and command.name in _WORDS:
            param.type = _Name(_WORDS[command.name], or_file=False)
        elif name in _NAMES:
            param.type = _Name(_NAMES[name], or_file=bool(stands_for & _FILES))
        elif stands_for & _FILES:
            param.type = _Path()
        elif (listed := max(param.opts, key=len)) in _LISTS and "=" not in (param.metavar or ""):
            param.type = _Listed(_LISTS[listed], several=bool(stands_for & {"LIST", "SIGNAL"}))
        elif "DIR" in stands_for:
            param.type = _Path(file_okay=False)


def _makes(book: Path, ctx: click.Context, begun: str) -> list[str]:
    from kb.store import known_names

    return known_names.makes(book, begun)


def _models(book: Path, ctx: click.Context, begun: str) -> list[str]:
    from kb.store import known_names

    make = ctx.params.get("make") or ctx.params.get("jobsfile_or_make")
    return known_names.models(book, make, begun) if make else []


def _query(book: Path, ctx: click.Context, begun: str) -> list[str]:
    from kb.store import known_names

    return known_names.words(book, " ".join(ctx.params.get("words") or ()), begun)


def _make_and_model(book: Path, ctx: click.Context, begun: str) -> list[str]:
    from kb.store import known_names

    before = ctx.params.get("words") or ()
    if not before:
        return known_names.makes(book, begun)
    return known_names.models(book, before[0], begun) if len(before) == 1 else []


def _words(kind: str) -> Callable[[Session], Iterable[str]]:
    def values(session: Session) -> Iterable[str]:
        from kb.domain import words

        return [word.value for word in getattr(words, kind)]

    return values


def _drivers(session: Session) -> Iterable[str]:
    """The usual driver, those whose plates are kept, and the catalogue's."""
    from kb.catalogue.drivers import drivers

    kept = (plate.driver for plate in session.settings.plates)
    return [session.settings.driver, *kept, *(one.name for one in drivers())]


def _items(session: Session) -> Iterable[str]:
    from kb.catalogue import catalogue

    return [item.name for item in catalogue().items]


def _routes(session: Session) -> Iterable[str]:
    from kb.base.datafiles import data_tables

    return [route["code"] for route in data_tables("routes.toml")["route"]]


def _topics(session: Session) -> Iterable[str]:
    from kb.base.guide import topics

    return topics()


def _of_faults(kind: str) -> Callable[[Session], Iterable[str]]:
    def values(session: Session) -> Iterable[str]:
        from kb.base.datafiles import data_tables

        return [one["id"] for one in data_tables("faults.toml")[kind]]

    return values


#: The values of options, by the option.
_LISTS: Final[Mapping[str, Callable[[Session], Iterable[str]]]] = {
    "--driver": _drivers,
    "--inputs": _words("DriverInput"),
    "--shared-input": _words("DriverInput"),
    "--input": _words("DriverInput"),
    "--kind": _words("Kind"),
    "--display": _words("Display"),
    "--taken": _words("Signal"),
    "--signal": _words("Signal"),
    "--outcome": _words("Outcome"),
    "--have": _items,
    "--items": _items,
    "--route": _routes,
    "--complaint": _of_faults("complaint"),
    "--fixed": _of_faults("fault"),
    "--mended": _of_faults("fault"),
    "topic": _topics,
}
_NAMES: Final = {"make": _makes, "jobsfile_or_make": _makes, "model": _models}
_WORDS: Final = {"find": _query, "record": _make_and_model}
