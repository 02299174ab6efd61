"""tone: write test signals as WAV files."""

from __future__ import annotations

import click

from kb.base.errors import BadInput
from kb.cli.command import command
from kb.cli.common import Output, Session, choice
from kb.cli.outputfile import write_out
from kb.loop.tone import LEVEL_DB, SECONDS, Tone, wav


@command("tone")
@click.argument("signal", type=choice(Tone), default=Tone.SINE.value)
@click.option("--out", metavar="FILE", type=Output("WAV"))
@click.option("--seconds", type=float, default=SECONDS, show_default=True, metavar="S")
@click.option("--level", type=float, default=LEVEL_DB, show_default=True, metavar="DB")
@click.option("--hertz", type=float, default=1000.0, show_default=True, metavar="F")
@click.option("--mains", type=float, default=50.0, show_default=True, metavar="F")
@click.option("--seed", type=int, default=1, show_default=True, metavar="N")
def tone_command(
    session: Session,
    signal: str,
    out: str | None,
    seconds: float,
    level: float,
    hertz: float,
    mains: float,
    seed: int,
) -> int:
    """
    jackfield tone sine --seconds 60
    jackfield tone pink --level -12 --out noise.wav
    """
    tone, said = Tone(signal), session.language
    file = out or f"{tone.value}.wav"
    try:
        sound = wav(tone, seconds=seconds, level_db=level, hertz=hertz, mains_hz=mains, seed=seed)
    except BadInput as mistake:
        raise BadInput(f"--{mistake.place}", mistake.seen, mistake.expected) from None
    session.say(said("cli/tone/down"))
    size = write_out(file, sound, "--out")
    if session.as_json:
        session.json(
            {"file": file, "bytes": size, "signal": tone.value, "seconds": seconds, "level_db": level}
        )
    elif file != "-":
        from rich.text import Text

        session.console.print(Text(said("cli/tone/written", file=file, signal=tone, seconds=seconds)))
        session.console.print(Text(said(f"cli/tone/means/{tone.value}")))
    return 0
