"""Define the book's answers to a query, and answer many queries in a row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from kb.base.messages import LANGUAGES

# A cold ``find`` comes through here: what it does not need is imported where it is used.
if TYPE_CHECKING:
    from collections.abc import Callable

    from kb.domain.language import Language
    from kb.domain.panel import Panel
    from kb.domain.visit import Source, Visit
    from kb.index import Answer, Reader


class FoundSet(NamedTuple):
    """One set that may be meant. ``score`` (0..1) and ``how`` are those of ``kb.index``.

    ``best`` is the way to connect it to the usual driver, None if there is none. It is chosen by the
    findings of this very set, when they are recorded: what its sisters did is weighed by ``Book.connect``
    alone, as it would have to be read at every look-up. Of two ways that are equally plain the one that
    ``connect`` puts first may therefore be the other.
    """

    make: str
    model: str
    kind: str
    score: float
    how: str
    findings: int
    best: dict[str, Any] | None
    snippet: str


def best_line(one: FoundSet, said: Language) -> str:
    """``optical digital → optical cable 2 m → DAC; speakers stay on``."""
    if one.best is None:
        return said("cli/find/no-way")
    from kb.domain.words import Signal, Speakers

    items = one.best["items"]
    if said.code != LANGUAGES[0]:  # a cold look-up in English reads no catalogue
        from kb.catalogue import item_name

        items = [item_name(name, said) for name in items]
    chain = " → ".join([said.word(Signal(one.best["signal"])), *items])
    speakers = Speakers(one.best["speakers"])
    return chain if speakers is Speakers.UNKNOWN else said("cli/find/way", chain=chain, speakers=speakers)


class Found(NamedTuple):
    """The answer to one query, best match first."""

    query: str
    matches: tuple[FoundSet, ...]
    did_you_mean: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class SetView:
    """All that is known of one set."""

    source: Source
    panel: Panel
    visits: tuple[Visit, ...]


def found(answer: Answer, best: Callable[[str, str], dict[str, Any] | None]) -> Found:
    """The index's answer; ``best`` gets the key of a set and what the index kept for it."""
    return Found(
        answer.query,
        tuple(
            FoundSet(
                make=one.make,
                model=one.model,
                kind=one.kind,
                score=one.score,
                how=one.how,
                findings=one.findings,
                best=best(one.key, one.best),
                snippet=one.snippet,
            )
            for one in answer.matches
        ),
        answer.did_you_mean,
    )


class Searcher:
    """Many queries with one reader; made by ``Book.searcher``.

    ``found`` makes what the index answers into what the book answers. ``reopened`` gives another reader
    if this one's index is damaged, or another process rebuilt it.
    """

    def __init__(
        self, reader: Reader | None, found: Callable[[Answer], Found], reopened: Callable[[], Reader]
    ) -> None:
        self._reader = reader
        self._found: Final = found
        self._reopened: Final = reopened

    def find(self, query: str, limit: int = 10) -> Found:
        """As ``Book.find``."""
        from kb.index import IndexBroken

        if self._reader is None:
            return Found(query, ())
        try:
            return self._found(self._reader.find(query, limit=limit))
        except IndexBroken:
            self.close()
            self._reader = self._reopened()
            return self._found(self._reader.find(query, limit=limit))

    def make_of(self, name: str) -> tuple[str, bool]:
        """The make of the book that a word means, and whether it was named in full; "" for none."""
        return ("", False) if self._reader is None else self._reader.make_of(name)

    def close(self) -> None:
        """Give the reader back."""
        if self._reader is not None:
            self._reader.close()
            self._reader = None
