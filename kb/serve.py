"""serve: let a phone at the set use the book. It joins command line and page, and so lies above both."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kb.base.errors import BadInput, MissingExtra
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session

if TYPE_CHECKING:
    from kb.web.server import Running


@command("serve")
@click.option("--port", type=click.IntRange(0, 65535), default=8437, show_default=True)
@click.option("--lan", is_flag=True)
@click.option("--name", "names", multiple=True, metavar="HOST")
@click.option("--cert", metavar="FILE")
@click.option("--key", metavar="FILE")
@click.option("--behind", metavar="HOST", default="")
@click.option("--jobs", metavar="FILE")
@click.option("--forget-phones", is_flag=True)
def serve_command(
    session: Session,
    port: int,
    lan: bool,
    names: tuple[str, ...],
    cert: str | None,
    key: str | None,
    behind: str,
    jobs: str | None,
    forget_phones: bool,
) -> int:
    """
    jackfield serve
    jackfield serve --lan --cert van.pem --jobs today.json
    """
    try:
        from kb.web.pairing import forget_all
        from kb.web.server import Running, Serving, log_to_terminal
    except ImportError as missing:
        raise MissingExtra("serve", missing.name, "web") from missing
    if key and not cert:
        raise BadInput("--key", key, Said("expected/option-too", option="--cert"))
    if behind and (lan or cert):
        raise BadInput("--behind", behind, Said("expected/neither-lan-nor-cert"))
    how = Serving(
        port=port,
        lan=lan,
        names=names,
        behind=behind,
        certificate=Path(cert) if cert else None,
        key=Path(key) if key else None,
        jobs=Path(jobs) if jobs else None,
    )
    log_to_terminal()
    begun: list[Running] = []

    def tell(running: Running, code: str) -> None:
        """A new code: in the answer itself at first, on stderr later."""
        if begun:
            session.say(_pairing(running, code, with_qr=lan or bool(behind)))

    if forget_phones:  # first of all: a server that runs already on this port hears of it at once
        count = forget_all(session.folder)
        session.say(f"{count} phone{'s' if count != 1 else ''} forgotten")
    running = Running(session.folder, session.store, how, tell)
    code = running.offer()

    def announce() -> None:
        if session.as_json:
            session.json({"url": running.url, "pair": running.pairing_url(code), "code": code}, lines=True)
        else:
            print(f"Jackfield is at {running.url}  ({'on the network' if lan else 'on this machine only'})")
            print(_pairing(running, code, with_qr=lan or bool(behind)))
            if lan and not how.secure:
                print(_OPEN_NETWORK)
            print("Ctrl+C stops.")
        sys.stdout.flush()
        begun.append(running)

    running.run(announce)
    return 0


_OPEN_NETWORK = (
    "Without TLS (--cert) whoever is on this network can read along, and phones keep nothing for when the "
    "link is down: use a network of your own."
)


def _pairing(running: Running, code: str, *, with_qr: bool) -> str:
    """The code for the next phone, as words, as a link, and for a camera on a terminal."""
    from kb.web.pairing import spelt
    from kb.web.server import qr

    url = running.pairing_url(code)
    picture = f"\n{qr(url)}" if with_qr and sys.stdout.isatty() else ""
    return f"Pair a phone within ten minutes: code {spelt(code)}, or open {url}{picture}"
