"""tag: make the label for the back of the driver."""

from __future__ import annotations

import click

from kb.base import clock
from kb.base.errors import BadInput
from kb.base.messages import LANGUAGES, Said
from kb.cli.command import command
from kb.cli.common import Output, Session
from kb.cli.job_option import job_option
from kb.cli.outputfile import write_out
from kb.cli.path_options import Asked, for_path, path_options
from kb.domain.language import language
from kb.settings import Units
from kb.sheet.tag import HEIGHT_MM, WIDTH_MM, make_tag, tag_page


@command("tag")
@path_options
@job_option
@click.option("--lang", type=click.Choice(LANGUAGES))
@click.option("--out", metavar="FILE", type=Output("SVG, HTML"), default="tag.svg", show_default=True)
@click.option("--served", metavar="URL", default="")
def tag_command(
    session: Session,
    asked: Asked,
    job_ref: str | None,
    lang: str | None,
    out: str,
    served: str,
) -> int:
    """
    jackfield tag Norwell NV40-210 --out tag.svg
    jackfield tag Norwell NV40-210 --out tag.html
    """
    asked, _ = for_path(session, asked, job_ref)
    known = asked.view_to_write(session, "tag")
    connection = asked.connect(session, known, asked.metres(session))
    said = language(lang or session.settings.language, feet=session.settings.units is Units.FEET)
    tag = make_tag(known.source, known.panel, connection.chosen, clock.today(), said, served=_address(served))
    page = out.lower().endswith((".html", ".htm"))
    size = write_out(out, tag_page(tag, known.source, said) if page else f"{tag.picture}\n", "--out")
    if session.as_json:
        session.json(
            {
                "file": out,
                "bytes": size,
                "text": tag.text,
                "qr_version": tag.version,
                "width_mm": WIDTH_MM,
                "height_mm": HEIGHT_MM,
            }
        )
    elif out != "-":
        session.say(session.language("cli/tag/written", file=out, width=WIDTH_MM, height=HEIGHT_MM))
    return 0 if connection.chosen else 1


def _address(served: str) -> str:
    from urllib.parse import urlsplit

    if served and not (urlsplit(served).scheme in ("http", "https") and urlsplit(served).hostname):
        raise BadInput("--served", served, Said("expected/address"))
    return served
