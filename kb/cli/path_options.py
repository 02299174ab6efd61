"""Share the options of commands that connect a set."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import click

from kb.base.errors import NOTHING, BadInput, NotFound, Stated, ascii_controls, not_together
from kb.base.messages import Said, one_of
from kb.base.text import words_of_list
from kb.cli.common import Session
from kb.cli.job_option import named_set, set_of
from kb.domain.job import Job, JobStatus, Listening
from kb.domain.words import DriverInput, Signal
from kb.settings import Units

if TYPE_CHECKING:
    from kb.book import SetView
    from kb.path import Connection


@dataclass(frozen=True, slots=True)
class Asked:
    """The options of :func:`path_options` as they were typed."""

    make: str | None
    model: str | None
    file: str | None
    inputs: str | None
    driver: str | None
    speakers_needed: bool | None
    have: tuple[str, ...]
    taken: tuple[str, ...]
    shared: tuple[str, ...]
    length_text: str | None

    def view(self, session: Session, command: str) -> SetView:
        """The set of the book, or the one in the panel file, with the outputs in use marked as taken.

        Raises NotFound if nobody met it.
        """
        from kb.book import SetView

        signals = [Signal.read(signal, "--taken") for said in self.taken for signal in words_of_list(said)]
        if self.file:
            from kb.cli.record import read_visits
            from kb.domain.panel import panel_of

            if self.make:
                raise BadInput(
                    command,
                    Stated("error/given-together", given=Said("seen/set-and-panel-file")),
                    Said("do/give-one-of-them"),
                )
            visits = read_visits(self.file)
            if len(visits) != 1:
                raise BadInput(self.file, Said("seen/visits", count=len(visits)), Said("expected/one"))
            known = SetView(visits[0].source, panel_of(visits[0]), tuple(visits))
        elif self.make:
            known = session.book.view(self.make, self.model)
        else:
            raise BadInput(command, NOTHING, Said("expected/set-or-panel"))
        for signal in signals:
            if not known.panel.has(signal):
                said = session.language
                session.say(said("cli/path/not-carried", signal=signal.value, name=said.word(signal)))
        return replace(known, panel=known.panel.taken(signals))

    def view_to_write(self, session: Session, command: str) -> SetView:
        """The set of ``view`` for a command that writes a file: a program is told that there is none."""
        try:
            return self.view(session, command)
        except NotFound as nobody:
            if session.as_json:
                session.json({"file": None, "why": nobody.in_language(session.language.code)})
            raise

    def assumed_driver(self, session: Session) -> list[str]:
        """What to say of a driver of which nothing was said."""
        return assumed_driver(session, self.inputs, self.driver)

    def driver_inputs(self, session: Session) -> tuple[DriverInput, ...]:
        """What the driver takes."""
        return asked_inputs(session, self.inputs, self.driver)

    def metres(self, session: Session) -> float:
        """How far it is to the driver."""
        from kb.path.connect import USUAL_RUN

        typed = asked_metres(session, self.length_text)
        return USUAL_RUN if typed is None else typed

    def connect(self, session: Session, known: SetView, length_m: float) -> Connection:
        """How the set is connected to the driver, ``length_m`` metres away."""
        return session.book.connect(
            known.panel,
            known.source,
            inputs=self.driver_inputs(session),
            speakers_needed=self.speakers_needed is not False,
            have=self.have,
            length_m=length_m,
            shared=self._shared(session),
        )

    def _shared(self, session: Session) -> tuple[DriverInput, ...]:
        """The inputs of the driver that another source uses; raises BadInput if it has no such input."""
        inputs = self.driver_inputs(session)
        named = tuple(DriverInput.read(word, "--shared-input") for word in self.shared)
        for one in named:
            if one not in inputs:
                raise BadInput(
                    "--shared-input", one, Said("expected/input-of-driver", inputs=", ".join(inputs))
                )
        return named


def assumed_driver(session: Session, *said: object) -> list[str]:
    """What to say of the driver if nothing was said of it, neither by ``said`` nor in the settings."""
    settings = session.settings
    if any(said) or settings.driver or settings.inputs != type(settings)().inputs:
        return []
    return [session.language("cli/path/assumed", input=session.language.word(settings.inputs[0]))]


def assumed_for_jobs(session: Session, jobs: Iterable[Job]) -> list[str]:
    """What to say if some open job does not name its driver, nor do the settings."""
    driven = (job.inputs or job.driver for job in jobs if job.status is JobStatus.OPEN)
    return assumed_driver(session, all(driven))


def path_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options of a command that connects a set; it gets them as one ``asked``."""
    options = (
        click.argument("make", required=False),
        click.argument("model", required=False),
        click.option("--panel", "file", metavar="VISITFILE"),
        click.option("--inputs", metavar="LIST"),
        click.option("--driver", metavar="NAME"),
        click.option("--speakers-needed/--speakers-free", default=None),
        click.option("--have", multiple=True, metavar="ITEM"),
        click.option("--taken", multiple=True, metavar="SIGNAL"),
        click.option("--shared-input", "shared", multiple=True, metavar="INPUT"),
        click.option("--length", "length_text", metavar="L"),
    )
    names = [one.name for one in fields(Asked)]

    @functools.wraps(command)
    def wrapped(*args: Any, **given: Any) -> Any:
        asked = Asked(**{name: given.pop(name) for name in names})
        return command(*args, asked=asked, **given)

    return functools.reduce(lambda inner, option: option(inner), reversed(options), wrapped)


def for_path(session: Session, asked: Asked, ref: str | None) -> tuple[Asked, Job | None]:
    """Return the options of a command that connects a set, with what a job says in place of untyped ones."""
    if ref is None:
        return asked, None
    job = session.book.jobs.named(ref)
    one = set_of(job, asked.make, asked.model)
    given: dict[str, Any] = {}
    if asked.make is None and asked.file is None:
        source = named_set(session, job)
        given |= {"make": source.make, "model": source.model}
    if asked.inputs is None and asked.driver is None:
        given["inputs"] = ",".join(session.book.jobs.inputs_of(job))
    if asked.speakers_needed is None and job.speakers is not None:
        given["speakers_needed"] = job.speakers is Listening.NEEDED
    if asked.length_text is None and job.length_m is not None:
        given["length_text"] = f"{job.length_m:g} m"
    if not asked.taken and one.taken:
        given["taken"] = one.taken
    return replace(asked, **given), job


def asked_metres(session: Session, typed: str | None) -> float | None:
    """``--length`` as typed: bare numbers are metres, or feet where the settings say so; None: none typed.

    With --json the settings do not count: a program types metres. Raises BadInput.
    """
    if typed is None:
        return None
    from kb.loop.units import has_unit, length
    from kb.path.connect import LONGEST_RUN

    feet = not session.as_json and session.settings.units is Units.FEET
    metres = length(typed, "--length", low=0, high=LONGEST_RUN, feet=feet)
    if feet and not has_unit(typed):
        session.say(session.language("cli/read-as-feet", typed=ascii_controls(typed[:60])))
    return metres


def asked_inputs(session: Session, inputs: str | None, driver: str | None) -> tuple[DriverInput, ...]:
    """The inputs of the driver: as listed, of the driver named, or of the usual one."""
    if inputs is not None and driver is not None:
        raise not_together("--driver", Said("seen/two-options", option="--inputs", other="--driver"))
    if inputs is not None:
        words = words_of_list(inputs)
        if not words:
            raise BadInput("--inputs", inputs, Said("expected/inputs-such-as", example="line-3.5,optical"))
        return DriverInput.read_all(words, "--inputs")
    if driver is None or driver.casefold() == session.settings.driver.casefold():
        return session.settings.inputs
    from kb.catalogue.drivers import drivers

    known = {one.name: one.inputs for one in drivers()}
    for name, its_inputs in known.items():
        if name.casefold() == driver.casefold():
            return its_inputs
    usual = [session.settings.driver] if session.settings.driver else []
    names = list(dict.fromkeys([*usual, *known]))
    raise BadInput("--driver", driver, one_of(names))
