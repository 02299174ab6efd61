"""readings: judge measured values against IEC 60118-4."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import click

from kb.base.errors import BadInput
from kb.base.inputfiles import read_data
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session, text
from kb.cli.job_option import named_set
from kb.cli.tables import fitted, grid, headed
from kb.domain.language import Language
from kb.loop.readings_file import readings_from
from kb.loop.sentences import Digits, Hertz, Sentence
from kb.loop.standard import STANDARD, LevelMeter, PlayedSignal
from kb.loop.verdict import Check, Judgement, judge, milliamps

if TYPE_CHECKING:
    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

#: A larger file is not a set of readings.
LARGEST_BYTES: Final = 1024 * 1024
_WEAK_MA_PER_M: Final = 5.0  #: 38 dB below what the standard asks for


def _record(session: Session, data: object, which: tuple[str, str], job: str) -> str:
    """Keep the readings with a visit to the set; they stay in this book. Returns the id of the visit."""
    from kb.base import clock
    from kb.domain.visit import visit_from

    day = data.get("date") if isinstance(data, dict) else None
    visit = visit_from(
        {
            "date": day or clock.today().isoformat(),
            "by": session.settings.initials,
            "basis": "tested",
            "job": job,
            "source": {"make": which[0], "model": which[1]},
            "readings": data,
        },
        "readings",
    )
    done = session.book.record([visit])
    session.say(session.language("cli/recorded", make=which[0], model=which[1]))
    return done.first_id


@command("readings")
@click.argument("file", metavar="FILE")
@click.option("--record", nargs=2, metavar="MAKE MODEL")
@click.option("--job", "job_ref", metavar="REF")
def readings_command(session: Session, file: str, record: tuple[str, str] | None, job_ref: str | None) -> int:
    """
    jackfield readings readings.toml
    """
    data, place = read_data(file, LARGEST_BYTES)
    try:
        judgement = judge(readings_from(data, session.language.code))
    except BadInput as wrong:
        raise wrong.within(place) from None
    for said in _slips(data):
        session.say(said)
    job = None if job_ref is None else session.book.jobs.named(job_ref)
    if job is not None:
        source = named_set(session, job, *(record or ()))
        record = (source.make, source.model)
    kept = _record(session, data, record, job.reference if job else "") if record else None
    if session.as_json:
        session.json(judgement.as_json() | ({"recorded": kept} if kept else {}))
    else:
        render_readings(judgement, session.console, session.language)
    return 0 if judgement.verdict == "meets" else 1


def _slips(data: object) -> list[Said]:
    """Fields so weak in mA/m that they may have been read as A/m; the data are known to be readings."""
    rows = data.get("positions") or [] if isinstance(data, dict) else []
    weak = [
        Said(
            "cli/readings/were-these-a-per-m",
            place=row.get("name") or Said("place/position", number=number),
            field=f"{row['field_ma_per_m']:g}",
        )
        for number, row in enumerate(rows, 1)
        if 0 < (row.get("field_ma_per_m") or 0) < _WEAK_MA_PER_M
    ]
    return weak[:3]


def _say(said: Language, key: str, /, **values: object) -> str:
    """A line of this screen in the language; numbers as it writes them."""
    return Sentence(f"cli/readings/{key}", values).shown(said)


def render_readings(judgement: Judgement, console: Console, said: Language) -> None:
    """Show the verdict to a person. Names and words from the file are shown as text, never as markup."""
    from rich.text import Text

    if judgement.failed:
        word, style = _say(said, "falls-short"), "bold red"
    elif judgement.incomplete:
        word, style = _say(said, "not-proved"), "bold yellow"
    else:
        word, style = _say(said, "meets", count=judgement.places), "bold green"
    title = " ".join(part for part in (judgement.readings.place, judgement.readings.date) if part)
    if title:
        console.print(text(title, "bold"))
    console.print(Text.assemble((word, style), f"  {STANDARD}"))
    if how := _measured_with(judgement, said):
        console.print(Text(f"  {how}"))
    required = [each for each in judgement.checks if each.required]
    lists = {
        "out": [each for each in required if each.ok is False],
        "doubted": [each for each in required if each.doubted],
        "not-measured": [each for each in required if each.ok is None and not each.doubted],
    }
    lines = [
        (f"  {_say(said, head)}:", "; ".join(each.said(said) for each in checks))
        for head, checks in lists.items()
        if checks
    ]
    if lines:
        console.print(grid(lines, {}, gap=1))
    if judgement.incomplete and not judgement.failed and not judgement.doubted:
        console.print(Text(f"  {_say(said, 'rest')}"))
    _user(judgement, console, said)
    _checks(judgement, console, said)
    if judgement.compared:
        console.print(fitted(_compared(judgement, said), console))
    for head, found in (("points-at", judgement.diagnosis), ("next", judgement.advice)):
        if not found:
            continue
        console.print(text(_say(said, head), "bold"))
        places = (f" ({', '.join(one.where)})" if any(one.where) else "" for one in found)
        rows = ((" -", f"{one.shown(said)}{place}") for one, place in zip(found, places, strict=True))
        console.print(grid(rows, {}, gap=1))


def _measured_with(judgement: Judgement, said: Language) -> str:
    """Signal, meter and the reading that is right with them, unless they are the usual ones."""
    readings = judgement.readings
    if (readings.signal, readings.meter, readings.target_db) == (PlayedSignal.SINE, LevelMeter.RMS, 0):
        return ""
    target = Digits(readings.target_db, signed=True)
    return _say(said, "measured-with", signal=readings.signal, meter=readings.meter, target=target)


def _user(judgement: Judgement, console: Console, said: Language) -> None:
    """Show the user's own verdict next to the standard's."""
    from rich.text import Text

    user = judgement.readings.user
    if user:
        asked = {True: "satisfied", False: "not-satisfied", None: "not-asked"}[user.satisfied]
        console.print(Text(_say(said, "user", asked=_say(said, asked))))
        for line in user.words.splitlines():
            console.print(text(f"  {line}"))
    else:
        console.print(Text(_say(said, "ask-user")))


#: What is shown together under one heading, by the codes of the checks.
_GROUPS: Final = {
    "field": ("field", "field-reached", "points", "standing"),
    "response": ("response",),
    "noise": ("noise-off", "noise-on"),
    "exposure": ("exposure",),
}
#: Columns that value, limit and mark need at the most, with what parts them.
_BESIDE: Final = 44


def _checks(judgement: Judgement, console: Console, said: Language) -> None:
    """Show the checks in groups, each under a heading with its clauses."""
    from rich.text import Text

    most = max(12, console.width - _BESIDE)
    width = min(most, max(len(_label(each, said)) for each in judgement.checks))
    for head, codes in _GROUPS.items():
        found = [each for each in judgement.checks if each.code in codes]
        sources = dict.fromkeys(
            _say(said, "clause", clause=each.clause) if each.clause else each.other.split(",")[0]
            for each in found
        )
        console.print()
        console.print(Text.assemble((_say(said, f"group/{head}"), "bold"), f"  {', '.join(sources)}"))
        rows = (
            (_indented(_label(each, said)), _value(each, said), _limit(each, said), _mark(each, said))
            for each in found
        )
        console.print(grid(rows, {"width": width}, {"no_wrap": True}))
        for each in found:
            if each.note and each.value is not None and (each.doubted or each.code == "noise-off"):
                console.print(_indented(f"{_label(each, said)}: {each.note.shown(said)}", 3))
    console.print()
    console.print(Text(_say(said, "second-hand")))


def _indented(words: str, by: int = 1) -> Padding:
    from rich.padding import Padding

    return Padding(text(words), (0, 0, 0, by))


def _label(check: Check, said: Language) -> str:
    """The name of a check under the heading of its group."""
    place = f", {check.place}" if check.place else ""
    match check.code:
        case "field":
            return check.place or _say(said, "no-place")
        case "standing":
            return f"{_say(said, 'standing')}{place}"
        case "points":
            return _say(said, "points", height=check.height)
        case "response" if check.hertz is None:
            return check.place
        case "response":
            return f"{Hertz(check.hertz or 0).shown(said)}{place}"
        case "noise-off" | "noise-on":
            return f"{_say(said, 'driver-off' if check.code == 'noise-off' else 'driver-on')}{place}"
        case _:
            return _say(said, "strongest")


def _value(check: Check, said: Language) -> str:
    if check.value is None:
        return _say(said, "not-measured")
    if check.code in ("field", "field-reached", "standing"):
        field = milliamps(check.value).shown(said)
        return f"{field} {Digits(check.value, signed=True).shown(said)} dB"
    if check.code == "points":
        return f"{check.value:g}"
    number = f"{check.value:+z.1f}" if "dB" in check.unit else f"{check.value:.3g}"
    return f"{said.number(number)} {check.unit}"


def _limit(check: Check, said: Language) -> str:
    if check.low is not None and check.high is not None:
        limit = said("sheet/readings/range", low=f"{check.low:+g}", high=f"{check.high:+g}")
    elif check.low is not None:
        limit = f"≥ {check.low:g}"
    elif check.high is not None:
        limit = f"≤ {check.high:.3g}"
    else:
        return ""
    return said.number(limit if check.code == "points" else f"{limit} {check.unit}")


def _mark(check: Check, said: Language) -> Text:
    if check.doubted and check.ok is None:
        return text(_say(said, "doubted"), "yellow")
    if check.ok is False and not check.required:
        return text(_say(said, "tell"), "yellow")
    if check.ok is None:
        return text("?", "yellow")
    return text(_say(said, "ok"), "green") if check.ok else text(_say(said, "mark-out"), "bold red")


def _compared(judgement: Judgement, said: Language) -> Table:
    title = _say(said, "compared" if judgement.current_known else "compared-1-a")
    heads = [_say(said, name) for name in ("position", "measured", "computed", "difference")]
    rows = []
    for each in judgement.compared:
        levels = (each.measured_db, each.computed_db, each.difference)
        rows.append((each.name, *(Digits(level, signed=True).shown(said) for level in levels)))
    return headed(heads, rows, title)
