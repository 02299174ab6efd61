"""Run the command that was meant, and turn errors into messages and exit codes.

Each command lives in a module of its own that is imported only when it is called, so that a lookup from a
cold start loads nothing that it does not use.
"""

from __future__ import annotations

import codecs
import gc
import os
import sys
import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from kb.base.errors import JackfieldError, ascii_controls, why_of
from kb.base.messages import DamagedCatalogue, Said
from kb.cli.session import mute

if TYPE_CHECKING:
    import click

#: Objects made between two searches for cycles of them: importing makes many, and no such cycles.
_RARELY: Final = 50_000


def main(argv: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit code: 0 done, 1 a true "no", 2 wrong input, 3 book trouble."""
    words = list(sys.argv[1:] if argv is None else argv)
    gc.set_threshold(_RARELY)
    # Where the locale knows no UTF-8, Python hands bytes on as surrogates; people type UTF-8 all the same.
    code = run([os.fsencode(word).decode("utf-8", "surrogateescape") for word in words])
    gc.freeze()  # the modules are not searched for cycles once more while Python leaves
    sys.exit(code)


def run(args: list[str]) -> int:
    """Run one command; returns its exit code. No traceback reaches a user unless ``--debug`` is given."""
    _usable_streams()
    try:
        return _run(args, debug="--debug" in args)
    except DamagedCatalogue as damage:
        _say(str(damage))
        return 3


def _run(args: list[str], *, debug: bool) -> int:
    if os.environ.get("_JACKFIELD_COMPLETE"):  # the shell asks what may follow; it passes no words
        from kb.cli.commands import jackfield
        from kb.cli.completion import complete

        return complete(jackfield)
    if args[:1] == ["help"]:
        args = [*args[1:], "--help"]
    try:
        code = _plain_find(args) if _is_plain_find(args) else _parsed(args)
        sys.stdout.flush()
    except KeyboardInterrupt:
        _tell(Said("error/stopped"))
        return 130
    except (BrokenPipeError, SystemExit):
        # The reader of our output (head, less) has gone, and click and rich exit: that is no error.
        mute()
        return 0
    except JackfieldError as trouble:
        _trace(debug)
        _tell(trouble)
        return trouble.exit_code
    except OSError as trouble:
        _trace(debug)
        mute()
        _tell(Said("error/not-read-or-written", why=why_of(trouble)))
        return 3
    except DamagedCatalogue:
        _trace(debug)
        raise
    except Exception as mistake:  # the last resort: our own mistake is reported as one
        _trace(debug)
        _tell(Said("error/our-mistake", kind=type(mistake).__name__, why=mistake))
        return 3
    return code if isinstance(code, int) else 0


def _parsed(args: list[str]) -> Any:
    """Run the command that the options and words name; returns its exit code, or what it returned."""
    import click

    from kb.cli.command import teach_click
    from kb.cli.commands import jackfield
    from kb.cli.session import begun

    session = begun(args)
    teach_click(session)
    try:
        return jackfield.main(args, prog_name="jackfield", standalone_mode=False, obj=session)
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except click.exceptions.NoArgsIsHelpError as bare:
        print(bare.format_message())
        return 0
    except click.ClickException as wrong:
        _say(_usage(wrong))
        return 2
    except click.Abort:
        raise KeyboardInterrupt from None


def _is_plain_find(args: list[str]) -> bool:
    """Whether this is a find of words alone, which begins without the library that parses options."""
    words = [word for word in args[1:] if word != "--json"]
    return args[:1] == ["find"] and bool(words) and not any(word.startswith("-") for word in words)


def _plain_find(args: list[str]) -> int:
    from kb.cli.found import answer
    from kb.cli.session import Session, running

    session = Session(as_json="--json" in args)
    with running(session):
        return answer(session, [word for word in args[1:] if word != "--json"])


def _usable_streams() -> None:
    """Let every answer be written, with the nearest signs where the terminal's alphabet lacks some."""
    codecs.register_error("plainer", plainer)
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        stream = getattr(sys, name)
        if stream is None:  # closed by the program that called us
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115  # for the whole run
        elif mode == "w" and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plainer")


#: Signs with a meaning; any other sign becomes ``*``, since a question mark is our sign of doubt.
_PLAINER: Final = dict(zip("▶◀→←▲▽×·…“”„’‘–—−█░", '><><^vx-."""\'\'---#.', strict=True))


def plainer(lacking: UnicodeError) -> tuple[str, int]:
    """The nearest ASCII to what cannot be written: a letter loses its accent; one of another script is ``?``.

    >>> codecs.register_error("plainer", plainer)
    >>> "▶ out ▣, ? unclear ◉◉, Bråten → DAC".encode("ascii", "plainer").decode()
    '> out *, ? unclear **, Braten > DAC'
    """
    if not isinstance(lacking, UnicodeEncodeError):
        raise lacking
    return "".join(map(_plain, lacking.object[lacking.start : lacking.end])), lacking.end


def _plain(sign: str) -> str:
    bare = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()
    return _PLAINER.get(sign) or bare or ("*" if unicodedata.category(sign)[0] in "SP" else "?")


def _trace(debug: bool) -> None:
    if debug:
        import traceback

        traceback.print_exc()


def _usage(wrong: click.ClickException) -> str:
    ctx = getattr(wrong, "ctx", None)  # a mistake of usage has one
    where = ctx.command_path if ctx else ""
    if ctx is not None:
        from kb.cli.command import say_argument

        say_argument(wrong)
    hint = f"\n{_words(Said('error/try-help', command=where))}" if where else ""
    return f"{wrong.format_message()}{hint}"


def _words(said: Said | JackfieldError) -> str:
    """A message in the language of the settings."""
    from kb.cli.session import reader

    return said.in_language(reader().code)


def _tell(said: Said | JackfieldError) -> None:
    _say(_words(said))


def _say(message: str) -> None:
    """One message on stderr, with nothing in it that could steer the terminal."""
    lines = (ascii_controls(line) for line in message.splitlines())
    print("jackfield: " + "\n".join(lines), file=sys.stderr)


if __name__ == "__main__":
    main()
