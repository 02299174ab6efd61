"""pack: list what to carry to a day's jobs."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base.errors import BadInput, not_together
from kb.base.messages import Said
from kb.base.text import words_of_list
from kb.cli.command import command
from kb.cli.common import INCHES, Quantity, Session, Year, text
from kb.cli.path_options import asked_inputs, asked_metres, assumed_driver, assumed_for_jobs
from kb.cli.tables import FOLDED, RIGHT, grid
from kb.domain.language import Language

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from kb.pack import Ask, Day, JobPlan, Line, Material, Plan


@command("pack")
@click.argument("jobsfile_or_make", metavar="JOBSFILE | MAKE", required=False)
@click.argument("model", required=False)
@click.option("--year", type=Year(), metavar="YEAR")
@click.option("--kind", metavar="KIND")
@click.option("--display", metavar="DISPLAY")
@click.option("--size", "size_in", type=INCHES, metavar="INCHES")
@click.option("--inputs", metavar="LIST")
@click.option("--driver", metavar="NAME")
@click.option("--speakers-needed/--speakers-free", default=None)
@click.option("--length", "length_text", metavar="L")
@click.option("--taken", multiple=True, metavar="SIGNAL")
@click.option("--have", multiple=True, metavar="ITEM[=COUNT]")
@click.option("--loop", "loops", multiple=True, metavar="FILE")
@click.option("--target", type=Quantity(share=True), default=0.95, show_default=True, metavar="P")
@click.option("--day", "day_text", metavar="DATE")
@click.option("--job", "refs", multiple=True, metavar="REF")
@click.option("--print", "as_list", is_flag=True)
def pack_command(
    session: Session,
    jobsfile_or_make: str | None,
    model: str | None,
    year: int | None,
    kind: str | None,
    display: str | None,
    size_in: float | None,
    inputs: str | None,
    driver: str | None,
    speakers_needed: bool | None,
    length_text: str | None,
    taken: tuple[str, ...],
    have: tuple[str, ...],
    loops: tuple[str, ...],
    target: float,
    day_text: str | None,
    refs: tuple[str, ...],
    as_list: bool,
) -> int:
    """
    jackfield pack --day tomorrow
    jackfield pack jobs.toml --target 0.9 --print
    jackfield pack Norwell NV40-210 --inputs line-3.5,optical
    jackfield pack Norwell --year 2014
    jackfield pack Norwell NV40-210 --loop loop.json
    """
    from kb.book.naming import named_day
    from kb.pack import day_from, pack, to_json, together

    assumed: list[str] = []
    if day_text or refs:
        if jobsfile_or_make:
            raise not_together("pack", Said("seen/jobs-and-another"))
        day, assumed = _of_book(session, day_text, refs, have)
    elif jobsfile_or_make and model is None and _is_file(jobsfile_or_make):
        day = _read(jobsfile_or_make, have)
    else:
        set_data: dict[str, Any] = {
            "make": jobsfile_or_make,
            "model": model,
            "year": year,
            "kind": kind,
            "display": display,
            "size_in": size_in,
            "inputs": [one.value for one in asked_inputs(session, inputs, driver)],
            "speakers": None if speakers_needed is None else "needed" if speakers_needed else "free",
            "length_m": asked_metres(session, length_text),
            "taken": [signal for said in taken for signal in words_of_list(said)] or None,
        }
        day = day_from({"jobs": [set_data], "have": stock_of(have)})
        assumed = assumed_driver(session, inputs, driver)
    day, notes = named_day(session.book.named, day, session.language)
    notes = [*assumed, *notes]
    materials = together([*(job.materials for job in day.jobs), *(_materials(file) for file in loops)])
    plan = pack(day, session.book.expect(), target=target)
    if session.as_json:
        listed = [
            {"item": one.item, "count": one.count, "unit": one.unit, "tool": one.tool} for one in materials
        ]
        session.json(to_json(plan, session.language) | {"materials": listed, "notes": notes})
    elif as_list:
        print_list(plan, session.console, materials, session.language)
        session.say("\n".join(notes))
    else:
        for note in notes:
            session.console.print(text(note, "yellow"))
        render_pack(plan, session.console, materials, session.language)
    return 0 if plan.reached else 1


def _of_book(
    session: Session, day_text: str | None, refs: tuple[str, ...], have: tuple[str, ...]
) -> tuple[Day, list[str]]:
    """The jobs of a day and those that were named, with what the van has; what to say of their driver."""
    from kb.cli.days import read_day

    jobs = session.book.jobs
    found = [jobs.named(ref) for ref in refs]
    if day_text:
        day = read_day(session, day_text)
        found += [job for job in jobs.of_day(day) if job not in found]
    return jobs.packed(found, stock_of(have)), assumed_for_jobs(session, found)


#: Endings and signs of a file's name; a make has none of them.
_FILE_LIKE: Final = re.compile(r"[/\\]|\.(json|jsonl|toml|csv|txt|xlsx|ya?ml)$", re.IGNORECASE)


def _is_file(name: str) -> bool:
    from pathlib import Path

    return name == "-" or _FILE_LIKE.search(name) is not None or Path(name).is_file()


def _read(name: str, have: tuple[str, ...]) -> Day:
    from kb.base.inputfiles import read_data
    from kb.pack import day_from

    data, place = read_data(name)
    if have:
        data = data if isinstance(data, dict) else {"jobs": data}
        data = {**data, "have": {**(data.get("have") or {}), **stock_of(have)}}
    try:
        return day_from(data)
    except BadInput as mistake:
        raise mistake.within(place) from None


def _materials(file: str) -> tuple[Material, ...]:
    from kb.base.inputfiles import read_data
    from kb.pack import materials_from

    data, place = read_data(file)
    return materials_from(data, place)


def stock_of(have: tuple[str, ...], option: str = "--have") -> dict[str, int]:
    """Return the counts of items typed as ITEM or ITEM=COUNT. Raises BadInput naming the option."""
    from kb.catalogue import catalogue

    stock: dict[str, int] = {}
    for one in have:
        name, sign, number = one.rpartition("=")
        if not sign:
            name, number = one, "1"
        if not number.isdecimal() or len(number) > 4 or not int(number):
            raise BadInput(option, one, Said("expected/item-or-count"))
        catalogue().item(name, option.removeprefix("--"))  # reported as typed, not as the job file's
        stock[name] = stock.get(name, 0) + int(number)
    return stock


# -- how the answer looks -----------------------------------------------------------------------------


def render_pack(plan: Plan, console: Console, materials: Sequence[Material], language: Language) -> None:
    """The list first, then how sure it is, job by job what may go wrong, and what to ask."""
    from kb.catalogue import item_name
    from kb.pack import expected_text, risk_text

    number_of = RIGHT | {"min_width": 4}
    console.print(text(language("cli/pack/carry"), "bold"))
    lines = [
        (f"{line.count} x", item_name(line.item, language), _purpose(line, plan, language))
        for line in plan.items
    ]
    table = grid(lines, number_of, FOLDED | {"style": "bold"}, FOLDED | {"style": "dim"})
    console.print(table if plan.items else text(f"  {language('cli/pack/nothing')}", "bold red"))
    if materials:
        console.print(text(language("cli/pack/for-the-loop"), "bold"))
        console.print(grid((counted(one, language) for one in materials), number_of, FOLDED))
    console.print()
    console.print(verdict(plan, console.width, language))
    for number, one in enumerate(plan.jobs, 1):
        console.print()
        works = language("cli/pack/works", percent=language.percent(one.works)) if one.works else ""
        console.print(
            text(_title(one, number, language), "bold")
            .append(f"  {language.percent(one.certainty)}", "bold green")
            .append(works, "not bold dim")
        )
        rows: list[tuple[str | Text, str]] = [
            (language.percent(likely.p), expected_text(likely, language))
            for likely in one.expected[:3]
            if likely.p >= 0.01
        ]
        for risk in one.risks[:3]:
            if risk.p >= 0.005:
                chance = language("cli/pack/risk", percent=language.percent(risk.p))
                rows.append((text(chance, "yellow"), risk_text(risk, language)))
        console.print(grid(rows, RIGHT | {"min_width": 12}, FOLDED, gap=1))
    if plan.next:
        console.print()
        more = language("language/and").join(item_name(one, language) for one in plan.next.items)
        points = language.number(f"{100 * plan.next.gain:.1f}")
        said = language("cli/pack/next-item", items=more, points=points)
        console.print(text(language("cli/pack/next"), "bold").append(f"  {said}", "not bold"))
    if plan.ask:
        console.print()
        console.print(text(language("cli/pack/ask"), "bold"))
        for ask in plan.ask:
            console.print(question(ask, plan, console.width, language))


def _title(one: JobPlan, number: int, language: Language) -> str:
    name = f"  ({one.job.name})" if one.job.name else ""
    return f"{number}. {one.job.title or language.word(one.source.kind)}{name}"


def verdict(plan: Plan, width: int, language: Language) -> Text:
    """How sure, against what was wanted and what can be had at all, and what keeps it from that."""
    from kb.base.text import wrapped
    from kb.pack import caveats, chance_text

    said = text("\n".join(wrapped(f"{chance_text(plan, language)}.", width)), "bold")
    for caveat in caveats(plan, language):
        said.append("\n" + "\n".join(wrapped(caveat, width, "", "  ")), "not bold yellow")
    return said


def question(ask: Ask, plan: Plan, width: int, language: Language) -> Text:
    """A question on one line if it fits, with what each answer would change."""
    from kb.base.text import wrapped
    from kb.pack import answer_text, gain_text, question_text

    def lines(words: str, indent: int) -> str:
        return "\n".join(wrapped(words, width, " " * indent, " " * (indent + 2)))

    asked = question_text(ask, language)
    if len(plan.jobs) > 1:
        jobs = ", ".join(map(str, sorted(ask.jobs)))
        asked = language("cli/pack/question", count=len(ask.jobs), jobs=jobs, question=asked)
    said = text(lines(asked, 2))
    said.append("\n" + lines(gain_text(ask, plan, language), 4), "dim")
    for word, answer in (("yes", ask.yes), ("no", ask.no)):
        if answer is not None:
            change = answer_text(answer, language)
            key = f"cli/pack/answer/{word}"
            said.append("\n" + lines(language(key, p=language.percent(answer.p), change=change), 4), "dim")
    return said


def counted(material: Material, language: Language) -> tuple[str, str]:
    """``24 m (79 ft)``, ``wire AWG 18``: count and item of a line, lengths in both families of units."""
    from kb.catalogue import item_name
    from kb.loop.units import FOOT_M

    if material.unit != "m":
        return f"{material.count} x", item_name(material.item, language)
    return f"{material.count} m ({material.count / FOOT_M:.0f} ft)", item_name(material.item, language)


def print_list(plan: Plan, console: Console, materials: Sequence[Material], language: Language) -> None:
    """A plain list to print, tick off and take along, with its day and the jobs that it is for."""
    from kb.base import clock
    from kb.base.text import wrapped
    from kb.catalogue import item_name

    console.print(text(language("cli/pack/print/title", date=clock.today().isoformat())))
    for number, one in enumerate(plan.jobs, 1):
        title = _title(one, number, language).partition(". ")[2]
        console.print(text(f"  {language('cli/pack/print/job', number=number, title=title)}"))
    console.print()
    lines = [
        f"{line.count} x {item_name(line.item, language)} ({_purpose(line, plan, language)})"
        for line in plan.items
    ]
    lines += [" ".join(counted(material, language)) for material in materials]
    for entry in lines:
        for part in wrapped(entry, console.width, "[ ] ", "    "):
            console.print(text(part))
    console.print()
    console.print(verdict(plan, console.width, language))


def _purpose(line: Line, plan: Plan, language: Language) -> str:
    """``for jobs 1-3, 2 in stock``; with one job the signals instead of the job."""
    use = _jobs(line.uses, len(plan.jobs), language) if len(plan.jobs) > 1 else _signals(line.uses, language)
    return language("cli/pack/in-stock", use=use, count=line.in_stock) if line.in_stock else use


def _jobs(uses: tuple[tuple[int, tuple[Any, ...]], ...], count: int, language: Language) -> str:
    """``for jobs 1-3, 5``: runs of jobs are drawn together."""
    numbers = [job for job, _ in uses]
    if len(numbers) == count:
        return language("cli/pack/for-any")
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    said = ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in runs)
    return language("cli/pack/for-jobs", count=len(numbers), jobs=said)


def _signals(uses: tuple[tuple[int, tuple[Any, ...]], ...], language: Language) -> str:
    signals = sorted({language.word(output.signal) for _, outputs in uses for output in outputs})
    return language("cli/pack/for-signals", signals=language("language/join").join(signals))
