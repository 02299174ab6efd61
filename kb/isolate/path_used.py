"""Describe the path of the sound at this place, which decides the possible faults.

A fault or test *needs* traits of the path: ``optical``, ``dac``, ``optical+splitter`` (both). For each trait
the path gives yes, no, or unknown. Only a plain no rules something out; unknown counts less.

>>> used = PathUsed(signal=Signal.ANALOG_LINE)
>>> used.share(("optical",)), used.share(("cable",)), used.share(("bluetooth",))
(0.0, 1.0, 0.25)
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any, Final, NamedTuple

from kb.base import text
from kb.base.datafiles import data_tables
from kb.base.errors import BadInput
from kb.base.messages import Said, Wording
from kb.base.text import squeezed
from kb.base.validation import Fields, listed
from kb.catalogue import Item, Power, Role, catalogue
from kb.domain.words import Carried, DriverInput, Signal

ITEMS: Final = 16  #: items of one path, at most
_POWERED: Final = "powered"  #: the part of each item that needs a supply of its own
#: chance of a trait that the path does not give (common practice, from memory)
UNTOLD: Final = 0.25

_WITHOUT_METAL: Final = (Signal.OPTICAL, Signal.WIRELESS, Signal.ACOUSTIC)
_ANALOG: Final = (Signal.ANALOG_LINE, Signal.HEADPHONE, Signal.SPEAKER_LEVEL)
_DIGITAL: Final = (
    Signal.OPTICAL,
    Signal.COAXIAL,
    Signal.ARC,
    Signal.EARC,
    Signal.HDMI,
    Signal.USB,
)


@dataclass(frozen=True, slots=True)
class PathUsed:
    """Hold the path that carries, or should carry, the sound. Unknown fields are None or empty."""

    signal: Signal | None = None
    items: tuple[str, ...] = ()
    input: DriverInput | None = None

    def share(self, needs: tuple[str, ...]) -> float:
        """Return how sure something with these needs (one of the alternatives) can be on this path.

        1 if one alternative is met or there is no need, 0 if all are ruled out, else ``UNTOLD``.
        """
        return _share(self, needs)

    def has(self, part: str) -> bool | None:
        """Return whether the items include such a part; None if unknown."""
        parts = [_parts(item) for item in self.items]
        if any(part in found for found in parts):
            return True
        # An unknown item may be anything; a path without items was perhaps not recorded.
        return False if parts and all(parts) else None

    @property
    def converts(self) -> bool | None:
        """Return whether a box with its own power supply is between source and driver."""
        powered = self.has(_POWERED)
        if powered or self._must_convert:
            return True
        straight = self.input is not None and self.signal is not None and self.input.accepts(self.signal)
        if not self.items and (straight or self.signal in _ANALOG):
            return False  # it needs none, and has none on record
        return powered

    @property
    def _must_convert(self) -> bool:
        """Return whether the signal is digital and the driver input does not take it."""
        if self.input is None or self.signal not in (*_DIGITAL, Signal.WIRELESS):
            return False
        return not self.input.accepts(self.signal)

    @property
    def ends_analog(self) -> bool | None:
        """Return whether the signal at the driver is analog."""
        if self.input is not None:
            return self.input.analog
        return True if self.signal in (*_ANALOG, Signal.WIRELESS, Signal.ACOUSTIC) else None

    @property
    def galvanic(self) -> bool | None:
        """Return whether metal connects source and driver, so that mains current can flow along it."""
        if self.signal is None:
            return None
        return self.signal not in _WITHOUT_METAL and not self.has("isolator")


UNKNOWN_PATH: Final = PathUsed()  #: nothing is known of the path


@lru_cache(maxsize=4096)  # asked for every fault and test of every state
def _share(used: PathUsed, needs: tuple[str, ...]) -> float:
    met = [_meets(used, one) for one in needs]
    return 1.0 if True in met or not met else UNTOLD if None in met else 0.0


def _meets(used: PathUsed, needed: str) -> bool | None:
    said = [TRAITS[trait](used) for trait in needed.split("+")]
    return False if False in said else None if None in said else True


@lru_cache(maxsize=1024)
def _parts(name: str) -> frozenset[str]:
    """Return the parts that an item plays by the catalogue, or else by its name; empty if unknown."""
    item = catalogue().by_name.get(squeezed(name))
    return _parts_of(item) if item else _parts_by_words(name)


def _parts_of(item: Item) -> frozenset[str]:
    parts = {item.role.value}
    taken = frozenset[Carried]().union(*(end.takes for end in item.near))
    given = {end.gives for end in item.far if end.gives}
    converts = item.role in (Role.CONVERTER, Role.DECODER)
    if converts and all(one.digital for one in taken) and any(one.analog for one in given):
        parts.add("dac")
    if Carried.WIRELESS in taken:
        parts.add("bluetooth")
    if item.power not in (Power.NONE, Power.JACK):
        parts.add(_POWERED)
    return frozenset(parts)


def _parts_by_words(item: str) -> frozenset[str]:
    name = " ".join(item.lower().replace("/", " to ").split())
    found = {part.name for part in _part_words() if any(_says(name, word) for word in part.words)}
    parts = {part.name for part in _part_words() if part.name in found and found.isdisjoint(part.unless)}
    powered = {_POWERED for part in _part_words() if part.name in parts and part.powered}
    return frozenset(parts | powered)


def _says(name: str, word: str) -> bool:
    # Short words must be alone ("dac", "mic"); long ones may be part of another ("isolating").
    return word in name.replace("-", " ").split() if len(word) <= 4 else word in name


class _PartWords(NamedTuple):
    name: str
    words: tuple[str, ...]
    unless: tuple[str, ...]
    powered: bool


@lru_cache(maxsize=1)
def _part_words() -> tuple[_PartWords, ...]:
    """Return the words of ``data/item_words.toml``."""
    return tuple(
        _PartWords(one["name"], tuple(one["words"]), tuple(one.get("unless", ())), one["powered"])
        for one in data_tables("item_words.toml")["part"]
    )


def _signal(signal: Signal) -> Callable[[PathUsed], bool | None]:
    return lambda used: None if used.signal is None else used.signal is signal


def _among(signals: tuple[Signal, ...]) -> Callable[[PathUsed], bool | None]:
    return lambda used: None if used.signal is None else used.signal in signals


def _part(part: str, signals: tuple[Signal, ...] = tuple(Signal)) -> Callable[[PathUsed], bool | None]:
    """Return a test for a part that makes sense after these signals only."""

    def said(used: PathUsed) -> bool | None:
        here = used.has(part)
        return False if here is None and used.signal is not None and used.signal not in signals else here

    return said


def _wired(used: PathUsed) -> bool | None:
    return None if used.signal is None else used.signal not in (Signal.WIRELESS, Signal.ACOUSTIC)


def _into(level: Carried) -> Callable[[PathUsed], bool | None]:
    return lambda used: None if used.input is None else level in used.input.takes


#: Traits that a fault or test in the model may need; each gives yes, no or None (not known).
TRAITS: Final[Mapping[str, Callable[[PathUsed], bool | None]]] = {
    **{signal.value: _signal(signal) for signal in Signal if signal is not Signal.NOT_AUDIO},
    "digital": _among(_DIGITAL),
    "analog": _among(_ANALOG),
    "cable": _wired,
    "converter": lambda used: used.converts,
    "dac": _part("dac", _DIGITAL),
    "extractor": _part("extractor", (Signal.ARC, Signal.EARC, Signal.HDMI)),
    "splitter": _part("splitter"),
    "bluetooth": lambda used: True if used.signal is Signal.WIRELESS else used.has("bluetooth"),
    "isolator": _part("isolator"),
    "galvanic": lambda used: used.galvanic,
    "analog-end": lambda used: used.ends_analog,
    "mic-input": _into(Carried.MIC),
    "line-input": _into(Carried.LINE),
}


def path_used_from(data: object, place: Wording = "path") -> PathUsed:
    """Read the path from ``{"signal": .., "items": [..], "input": ..}``; every key may be missing."""
    fields = Fields(data, place, Said("expected/object-with", fields="signal, items", last="input"))
    used = PathUsed(
        signal=fields.take("signal", _read_signal, None),
        items=fields.take("items", listed(partial(text.line, empty=False), ITEMS), ()),
        input=fields.take("input", DriverInput.read, None),
    )
    fields.end()
    return used


def path_used_to(used: PathUsed) -> dict[str, Any]:
    """Return the path as a plain dictionary without unknown fields."""
    said = {
        "signal": used.signal and used.signal.value,
        "items": [*used.items],
        "input": used.input and used.input.value,
    }
    return {key: value for key, value in said.items() if value}


def _read_signal(value: object, place: Wording) -> Signal:
    signal = Signal.read(value, place)
    if signal is Signal.NOT_AUDIO:
        raise BadInput(place, value, Said("expected/signal-with-sound"))
    return signal
