"""Put the sheet of a day together: its jobs, the plan for the van, and the ways at each set."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING, Final

from kb.domain.job import Job, JobStatus

if TYPE_CHECKING:
    from kb.book.book import Book
    from kb.domain.language import Language
    from kb.domain.panel import Panel
    from kb.domain.visit import Source
    from kb.pack import Job as ToPack
    from kb.pack import JobPlan, Plan
    from kb.path import Path
    from kb.sheet.day import DaySheet

SHOWN: Final = 3  #: expected panels of a set
WAYS: Final = 2  #: at a set: the first, and one in reserve


def day_sheet(book: Book, day: date, said: Language) -> tuple[DaySheet, list[str]]:
    """Return the sheet of a day's open jobs, and what to say of sets whose name was not exact.

    Raises NotFound if no job of the day is open.
    """
    from kb.book.naming import named_day
    from kb.catalogue import item_name
    from kb.pack import caveats, chance_text, pack, question_text, together
    from kb.sheet.day import DayJob, DaySet, DaySheet

    every = book.jobs.every()
    jobs = [job for job in every if job.day == day and job.status is JobStatus.OPEN]
    packed, notes = named_day(book.named, book.jobs.packed(jobs), said)
    plan = pack(packed, book.expect())
    numbers: dict[str, list[int]] = {job.id: [] for job in jobs}
    for number, one in enumerate(packed.jobs, 1):
        numbers[one.id].append(number)

    carried = frozenset(line.item for line in plan.items)

    def asked(number: int) -> tuple[str, ...]:
        return tuple(question_text(ask, said) for ask in plan.ask if number in ask.jobs)

    found = tuple(
        DayJob(
            title=" ".join(part for part in (job.reference, job.client) if part),
            facts=tuple(_facts(book, job, said)),
            sets=tuple(
                DaySet(
                    title=plan.jobs[number - 1].job.title or said.word(plan.jobs[number - 1].source.kind),
                    expected=tuple(_expected(plan.jobs[number - 1], said)),
                    ways=tuple(_ways(book, plan.jobs[number - 1], carried, said)),
                    ask=asked(number),
                )
                for number in numbers[job.id]
            ),
            carry=tuple(_carried(plan, numbers[job.id], job, said)),
        )
        for job in jobs
    )
    materials = together([job.materials for job in jobs])
    van = [
        f"{line.count} x {item_name(line.item, said)}"
        + (f" ({said('sheet/day/in-van', count=line.in_stock)})" if line.in_stock else "")
        for line in plan.items
    ]
    van += [_material(one.count, one.unit, item_name(one.item, said)) for one in materials]
    buy = [
        f"{line.count - line.in_stock} x {item_name(line.item, said)}"
        for line in plan.items
        if packed.have and line.count > line.in_stock  # a van that nobody has counted may hold all of it
    ]
    earlier = [
        " ".join(filter(None, (job.day.isoformat(), job.reference, job.client)))
        for job in every
        if job.status is JobStatus.OPEN and job.day is not None and job.day < day
    ]
    verdict = (f"{chance_text(plan, said)}.", *caveats(plan, said))
    return DaySheet(day, found, tuple(van), tuple(buy), verdict, tuple(earlier)), notes


def _facts(book: Book, job: Job, said: Language) -> Iterator[tuple[str, str]]:
    """Yield label and value of what the installer must know on the way."""
    inputs = said("language/join").join(said.word(one) for one in book.jobs.inputs_of(job))
    facts = (
        ("place", job.place),
        ("by", job.by),
        ("driver", f"{job.driver} ({inputs})" if job.driver else inputs),
        ("length_m", "" if job.length_m is None else said.length(job.length_m)),
        ("speakers", "" if job.speakers is None else said.word(job.speakers)),
        ("room", job.room),
        ("route", job.route),
        ("note", job.note),
    )
    yield from ((said(f"cli/job/field/{key}"), value) for key, value in facts if value)


def _expected(one: JobPlan, said: Language) -> Iterator[str]:
    from kb.pack import expected_text

    for likely in one.expected[:SHOWN]:
        if likely.p >= 0.01:
            yield f"{said.percent(likely.p)}: {expected_text(likely, said)}"


def connected(book: Book, job: ToPack, source: Source) -> tuple[Panel, list[Path]] | None:
    """Return the panel of a job's set, and its paths, the best first; None if nobody met the set."""
    known = book.known(source.make, source.model) if source.make and source.model else None
    if known is None or not known.panel.jacks:
        return None
    panel = known.panel.taken(sorted(job.taken or ()))
    answer = book.connect(
        panel,
        known.source,
        inputs=job.inputs,
        speakers_needed=job.speakers_needed,
        length_m=job.length_m,
    )
    return panel, [path for path in (answer.chosen, *answer.others) if path is not None]


def _ways(book: Book, one: JobPlan, carried: frozenset[str], said: Language) -> Iterator[str]:
    """Yield the way and a second one: of the set itself if somebody met it, else of what is expected.

    A way whose items are ``carried`` comes before a better one for which the van has nothing.
    """
    from kb.catalogue import catalogue, item_name
    from kb.pack.wording import called
    from kb.path import chain

    job = one.job
    met = connected(book, job, one.source)
    if met is not None:
        panel, paths = met
        one_name = catalogue().one_name
        paths.sort(key=lambda path: not carried.issuperset(map(one_name, path.items)))
        for path in paths[:WAYS]:
            yield f"{' → '.join(chain(path, panel, said))} ({said.percent(path.p_works)})"
        return
    for use in sorted(one.uses, key=lambda use: -use.there)[:WAYS]:
        items = said("language/join").join(item_name(item, said) for item in use.items)
        yield f"{called(use.output, said)} ({said.percent(use.there)}): {items}"


def _carried(plan: Plan, numbers: Sequence[int], job: Job, said: Language) -> Iterator[str]:
    """Yield what the list carries for a job, and the materials of its loop."""
    from kb.catalogue import item_name

    mine = Counter(
        item_name(line.item, said) for line in plan.items for number, _ in line.uses if number in numbers
    )
    yield from mine
    yield from (_material(one.count, one.unit, item_name(one.item, said)) for one in job.materials)


def _material(count: int, unit: str, item: str) -> str:
    return f"{count} m {item}" if unit == "m" else f"{count} x {item}"
