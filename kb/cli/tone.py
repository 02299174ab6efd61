"""tone: write test signals as WAV files."""

from __future__ import annotations

import click

from kb.base.errors import BadInput, described
from kb.cli.common import Output, Session, choice, command_options
from kb.cli.outputfile import write_out
from kb.loop.tone import LEVEL_DB, SECONDS, Tone, wav


@click.command("tone")
@click.argument("signal", type=choice(Tone), default=Tone.SINE.value)
@click.option(
    "--out", metavar="FILE", type=Output("WAV"), help="WAV file to write; - for stdout. Default: SIGNAL.wav."
)
@click.option("--seconds", type=float, default=SECONDS, show_default=True, metavar="S", help="Length.")
@click.option(
    "--level",
    type=float,
    default=LEVEL_DB,
    show_default=True,
    metavar="DB",
    help="Level of the sine, dB below the largest that a file holds. Noise is 6 dB lower.",
)
@click.option(
    "--hertz", type=float, default=1000.0, show_default=True, metavar="F", help="Pitch of the sine."
)
@click.option(
    "--mains", type=float, default=50.0, show_default=True, metavar="F", help="Mains for hum and buzz."
)
@click.option("--seed", type=int, default=1, show_default=True, metavar="N", help="Another noise.")
@command_options
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
    """Write a test signal as a stereo WAV file, faded in. Turn the driver down before you play it.

    \b
    sine   1 kHz (or --hertz), to set the field
    pink   pink noise of IEC 60118-4 cl. 6.4
    combi  sine and noise in turn, of Table 2
    sweep  100 Hz to 5 kHz, to hear dips and rattles
    hum    mains hum, to compare with what you hear
    buzz   dimmer buzz, to compare with what you hear
    sides  one beep left, two beeps right

    \b
    jackfield tone sine --seconds 60
    jackfield tone pink --level -12 --out noise.wav
    """
    tone, said = Tone(signal), session.language
    file = out or f"{tone.value}.wav"
    if session.as_json and file == "-":
        raise BadInput("--out", described("- with --json"), "a file, since the JSON goes to stdout")
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
