"""What is asked of every command that connects a set: which set and driver, who listens, what is to hand?"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import click

from kb.cli.common import Session
from kb.errors import BadInput, described
from kb.words import DriverInput, Signal

if TYPE_CHECKING:
    from kb.book import SetView
    from kb.path import Connection

    _Metres = click.ParamType[float]
else:
    _Metres = click.ParamType  # click 8.2 has no type parameter there


class _Length(_Metres):
    """Metres to the driver; ``10ft`` and the like are understood."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):  # nobody typed one: nothing to read, and nothing to load for it
            return value
        from kb.loop.units import length
        from kb.path.connect import LONGEST_RUN

        return length(str(value), "--length", low=0, high=LONGEST_RUN)


LENGTH = _Length()


@dataclass(frozen=True, slots=True)
class Asked:
    """The options of :func:`path_options` as they were typed; ``length_m`` in metres."""

    make: str | None
    model: str | None
    file: str | None
    inputs: str | None
    driver: str | None
    speakers_needed: bool
    have: tuple[str, ...]
    taken: tuple[str, ...]
    length_m: float

    def view(self, session: Session, command: str) -> SetView:
        """The set of the book, or the one in the panel file, with the outputs in use marked as taken.

        Raises NotFound where nobody met it.
        """
        from kb.book import SetView

        signals = [Signal.read(signal, "--taken") for signal in self.taken]
        if self.file:
            from kb.cli.record import read_visits
            from kb.panel import panel_of

            if self.make:
                raise BadInput(command, described("a set and a panel file"), "one of them")
            visits = read_visits(self.file)
            if len(visits) != 1:
                raise BadInput(self.file, described(f"{len(visits)} visits"), "one")
            known = SetView(visits[0].source, panel_of(visits[0]), tuple(visits))
        elif self.make:
            known = session.book.view(self.make, self.model)
        else:
            raise BadInput(command, described("nothing"), "MAKE MODEL, or --panel VISITFILE")
        return replace(known, panel=known.panel.taken(signals))

    def driver_inputs(self, session: Session) -> tuple[DriverInput, ...]:
        """What the driver takes."""
        return asked_inputs(session, self.inputs, self.driver)

    def connect(self, session: Session, known: SetView) -> Connection:
        """How the set is connected to the driver."""
        return session.book.connect(
            known.panel,
            known.source,
            inputs=self.driver_inputs(session),
            speakers_needed=self.speakers_needed,
            have=self.have,
            length_m=self.length_m,
        )


def path_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options of a command that connects a set; it gets them as one ``asked``."""
    options = (
        click.argument("make", required=False),
        click.argument("model", required=False),
        click.option(
            "--panel", "file", metavar="VISITFILE", help="A panel that is not in the book; - for stdin."
        ),
        click.option("--inputs", metavar="LIST", help="Inputs of the driver, with commas: line-3.5,optical"),
        click.option(
            "--driver", metavar="NAME", help="A driver of the catalogue, or the usual one by its name."
        ),
        click.option(
            "--speakers-needed/--speakers-free", default=True, help="Do others listen to the set? (they do)"
        ),
        click.option("--have", multiple=True, metavar="ITEM", help="An item to hand; repeat for more."),
        click.option(
            "--taken",
            multiple=True,
            metavar="SIGNAL",
            help="An output in use by something else; repeat for more.",
        ),
        click.option(
            "--length",
            "length_m",
            type=LENGTH,
            metavar="M",
            default=1.5,
            show_default=True,
            help="Metres of cable to the driver, slack included; or such as 10ft.",
        ),
    )
    names = [one.name for one in fields(Asked)]

    @functools.wraps(command)
    def wrapped(*args: Any, **given: Any) -> Any:
        asked = Asked(**{name: given.pop(name) for name in names})
        return command(*args, asked=asked, **given)

    return functools.reduce(lambda inner, option: option(inner), reversed(options), wrapped)


def asked_inputs(session: Session, inputs: str | None, driver: str | None) -> tuple[DriverInput, ...]:
    """The inputs of the driver: as listed, of the driver named, or of the usual one."""
    if inputs is not None and driver is not None:
        raise BadInput("--driver", described("--inputs and --driver"), "one of them")
    if inputs is not None:
        words = [word.strip() for word in inputs.split(",") if word.strip()]
        if not words:
            raise BadInput("--inputs", inputs, "the inputs of the driver, such as line-3.5,optical")
        return DriverInput.read_all(words, "--inputs")
    if driver is None or driver.casefold() == session.settings.driver.casefold():
        return session.settings.inputs
    from kb.catalogue.drivers import driver_inputs

    known = driver_inputs()
    for name, its_inputs in known.items():
        if name.casefold() == driver.casefold():
            return its_inputs
    usual = [session.settings.driver] if session.settings.driver else []
    names = list(dict.fromkeys([*usual, *known]))
    raise BadInput("--driver", driver, f"one of {', '.join(names)}")
