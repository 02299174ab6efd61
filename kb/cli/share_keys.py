"""share key, share trust: sign bundles and choose whose are accepted."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from kb.base.errors import NOTHING, BadInput, NotFound, not_together, shown
from kb.base.inputfiles import read_text
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Output, Session, text
from kb.cli.dump import write_whole


@command("key")
@click.argument("file", required=False, metavar="[FILE]", type=Output("a key", or_json=True))
@click.option("--name", metavar="NAME")
@click.option("--replace", is_flag=True)
def key_command(session: Session, file: str | None, name: str | None, replace: bool) -> int:
    """
    jackfield share key rt.key --name RT
    """
    from kb.base import text as plain
    from kb.exchange.signing import key_file, own_key, public

    key = own_key(session.folder, make=True)
    assert key is not None
    called = plain.line(name or session.settings.initials, "name", 40)
    if not called:
        raise BadInput("--name", NOTHING, Said("expected/name-or-initials"))
    said = key_file(called, public(key))
    if file:
        write_whole(Path(file), [said], replace=replace)
    if session.as_json:
        session.json({"name": called, "key": public(key), "file": file})
    elif file:
        session.console.print(text(session.language("cli/share/key", file=file, name=called)), soft_wrap=True)
    else:
        sys.stdout.write(said)
    return 0


@command("trust")
@click.argument("file", required=False, metavar="[FILE]")
@click.option("--drop", metavar="NAME")
@click.option("--anyone", is_flag=True)
@click.option("--signed-only", is_flag=True)
def trust_command(
    session: Session, file: str | None, drop: str | None, anyone: bool, signed_only: bool
) -> int:
    """
    jackfield share trust south.key
    jackfield share trust --drop south
    """
    from kb.exchange import share_state as known
    from kb.exchange.signing import read_key_file

    if sum((bool(file), bool(drop), anyone, signed_only)) > 1:
        raise not_together("trust", Said("seen/several-share-options"))
    if file:
        name, key = read_key_file(*read_text(file, 65_536, Said("expected/key-file")))
    if not (file or drop or anyone or signed_only):
        mine = known.load(session.folder)
    else:
        with known.changing(session.folder) as mine:
            if drop:
                if drop not in mine.trusted:
                    raise NotFound(Said("error/nobody-trusted-called", name=shown(drop)))
                del mine.trusted[drop]
            elif file:
                if mine.trusted.get(name, key) != key:
                    raise BadInput(
                        file,
                        Said("seen/another-key", name=name),
                        Said("expected/trusted-key-or-drop"),
                    )
                mine.trusted[name] = key
            mine.signed_only = not anyone and (mine.signed_only or bool(file) or signed_only)
    if session.as_json:
        session.json(
            {
                "trusted": [{"name": name, "key": key} for name, key in mine.trusted.items()],
                "signed_only": mine.signed_only,
            }
        )
        return 0
    for name, key in mine.trusted.items():
        session.console.print(text(f"{name}  {key}"), soft_wrap=True)
    if not mine.signed_only:
        session.say(session.language("cli/share/anyone" if mine.trusted else "cli/share/anyone/no-key"))
    elif not mine.trusted:
        session.say(session.language("cli/share/no-key"))
    return 0
