"""listen: turn recordings taken through a coil into readings."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING, Final

import click

from kb.base import clock
from kb.base.errors import BadInput, MissingExtra, not_together, unquoted
from kb.base.inputfiles import opened, read_text
from kb.base.messages import Said, Wording
from kb.base.parsing import toml_of
from kb.base.text import line
from kb.cli.command import command
from kb.cli.common import Output, Session, choice, text
from kb.cli.outputfile import write_out
from kb.cli.tables import grid
from kb.loop.readings_file import readings_from
from kb.loop.sentences import Digits, Hertz, Sentence
from kb.loop.standard import Channel, Probe

if TYPE_CHECKING:
    from rich.console import Console

    from kb.domain.language import Language
    from kb.loop.listen import Heard, Recorded

#: A readings file to which a place is added is no larger than this.
_LARGEST_BYTES: Final = 1024 * 1024
#: A WAV file holds no more, bytes.
_LONGEST_WAV: Final = 1 << 32
#: Cells of one frequency with its level.
_CELLS: Final = 18


@command("listen")
@click.option("--sine", metavar="FILE")
@click.option("--combi", metavar="FILE")
@click.option("--pink", metavar="FILE")
@click.option("--off", metavar="FILE")
@click.option("--on", metavar="FILE")
@click.option("--calibration", type=(str, float), metavar="FILE MA")
@click.option("--source", metavar="FILE")
@click.option("--place", default="place", metavar="NAME", show_default=True)
@click.option("--channel", type=choice(Channel))
@click.option("--probe", type=choice(Probe), default=Probe.FLAT.value, show_default=True)
@click.option("--out", metavar="FILE", type=Output("TOML", or_json=True))
@click.option("--add", metavar="FILE", type=Output("TOML", or_json=True))
def listen_command(
    session: Session,
    place: str,
    channel: str | None,
    probe: str,
    out: str | None,
    add: str | None,
    calibration: tuple[str, float] | None,
    **files: str | None,
) -> int:
    """
    jackfield listen --pink pink.wav --off off.wav --place sofa
    jackfield listen --sine sine.wav --pink pink.wav --off off.wav --on on.wav \\
        --calibration sine.wav 380 --place sofa --out readings.toml
    """
    try:
        from kb.loop import listen
    except ImportError as missing:
        raise MissingExtra("listen", missing.name, "listen") from missing
    place = line(place, "--place", 80)
    if out is not None and add is not None:
        raise not_together("--out", Said("seen/two-options", option="--out", other="--add"))
    target = out if add is None else add
    if target == "-" and (session.as_json or add):
        raise BadInput("--out" if out else "--add", unquoted("-"), Said("expected/file-name"))
    if target is not None and target.lower().endswith(".json"):
        raise BadInput("--out" if out else "--add", target, Said("expected/toml-name"))
    heard = listen.hear(_recorded(files, calibration, channel, probe))
    if target is not None:
        day = clock.today().isoformat()
        content = listen.readings_text(heard, name=place, date=day, whole=add is None)
        if add is not None:
            content = _joined(add, content, heard)
        readings_from(toml_of(content, target))
        write_out(target, content, "--add" if add else "--out")
    if session.as_json:
        session.json({"place": place, **heard.as_json(), "file": target})
    elif target != "-":
        _show(heard, place, target, session.console, session.language)
    return 0


def _recorded(
    files: dict[str, str | None], calibration: tuple[str, float] | None, channel: str | None, probe: str
) -> Recorded:
    """Read the files; the channel of the first one is that of all."""
    from kb.loop.listen import NOISE_S, SINE_S, Recorded
    from kb.loop.wav_recording import Recording, recording_from

    coil = Channel(channel) if channel else None
    found: dict[str, Recording | None] = {}
    for key, file in (*files.items(), ("calibration", calibration[0] if calibration else None)):
        if file is None:
            continue
        own = key == "source"
        with opened(file) as (raw, place), _rewindable(raw, place) as whole:
            sound = found[key] = recording_from(
                whole,
                place,
                least_s=SINE_S if key in ("sine", "calibration") else NOISE_S,
                channel=None if own else coil,
                probe=Probe.FLAT if own else Probe(probe),
                played=own,
            )
        coil = coil or (None if own else sound.channel)
    return Recorded(**found, calibration_a_per_m=calibration[1] / 1000 if calibration else None)


@contextmanager
def _rewindable(file: IO[bytes], place: Wording) -> Iterator[IO[bytes]]:
    """The file if it can be read twice, else a copy of it on the disk."""
    if file.seekable():
        yield file
        return
    with tempfile.TemporaryFile() as copy:
        while part := file.read(1 << 20):
            copy.write(part)
            if copy.tell() > _LONGEST_WAV:
                raise BadInput(place, Said("seen/more-than-gib"), Said("expected/smaller-file"))
        copy.seek(0)
        yield copy


def _joined(file: str, block: str, heard: Heard) -> str:
    """An existing readings file with one more place."""
    before, name = read_text(file, _LARGEST_BYTES, "TOML")
    known = readings_from(toml_of(before, name))
    if heard.field_db is not None and known.measured and known.signal != heard.signal:
        seen = Said("seen/readings-of", signal=known.signal.value)
        raise BadInput(name, seen, Said("expected/file-of-same-signal"))
    return f"{before.rstrip()}\n{block}"


def _show(heard: Heard, place: str, file: str | None, console: Console, said: Language) -> None:
    """Show the result to a person; what is relative says so on its own line."""

    def say(key: str, /, **values: object) -> str:
        return Sentence(f"cli/listen/{key}", values).shown(said)

    console.print(text(place, "bold"))
    rows: list[Sequence[str]] = []
    if heard.signal is not None and heard.full_scale_db is not None:
        level = Digits(heard.full_scale_db, signed=True)
        rows.append((say("level"), say("level-of", signal=heard.signal, level=level)))
    if heard.field_db is not None:
        rows.append((say("field"), say("field-of", level=Digits(heard.field_db, signed=True))))
    for driver, noise in heard.noise.items():
        head = said(f"cli/readings/driver-{driver}")
        if noise.dba is not None:
            found = say("noise-of", level=Digits(noise.dba, signed=True))
        elif noise.re_signal_db is not None:
            found = say("noise-re-signal", level=Digits(noise.re_signal_db, signed=True))
        else:
            found = say("noise-alone")
        rows.append((say("noise", driver=head), found))
        if noise.mains.lines:
            shown = ", ".join(f"{one.hertz:.0f}" for one in noise.mains.lines[:8])
            more = len(noise.mains.lines) - 8
            key = "lines" if more <= 0 else "lines-more"
            rows.append(("", say(key, lines=shown, more=more)))
    console.print(grid(rows, {}))
    if heard.response:
        console.print(text(say("response"), "bold"))
        columns = max(1, console.width // _CELLS)
        cells = [
            f"{Hertz(hertz).shown(said):>8} {Digits(level, signed=True).shown(said):>5}"
            for hertz, level in heard.response.items()
        ]
        console.print(grid((cells[at : at + columns] for at in range(0, len(cells), columns)), {}))
    for note in heard.notes:
        console.print(grid([(" -", note.shown(said))], {}, gap=1))
    if file is not None:
        console.print(text(say("written", file=file)))
