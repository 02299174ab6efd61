"""Read and check the file of faults and tests.

Messages name the entry and the field::

    test red-glow, given 1, faults, bitstream: saw '[0.5, 0.6]', expected 2 chances from 0 to 1 that sum to 1
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Protocol, TypeVar

from kb.base.errors import NOTHING, BadInput, inside
from kb.base.messages import LANGUAGES, Said, Wording
from kb.base.validation import Fields, keyed, listed, number, sentence, truth
from kb.domain.words import Outcome, Speakers
from kb.isolate.model import FACTS, FLOOR, SOMETHING_ELSE, Complaint, Fault, Model, Side, Test
from kb.isolate.path_used import TRAITS
from kb.isolate.readers import ENTRIES, chances, expected_one, known, word

ANSWERS: Final = 8  #: answers of one test, at most
MINUTES: Final = 240.0  #: of one test, at most


class _Named(Protocol):
    @property
    def id(self) -> str: ...


N = TypeVar("N", bound=_Named)
Row = tuple[float, ...]


def model_from(data: object, language: str = LANGUAGES[0]) -> Model:
    """Return the model of the parsed ``data/faults.toml``, with its texts in one of ``LANGUAGES``.

    An entry has its English texts as fields and each translation as a table with those fields (``es = {says =
    "..."}``); a text without a translation stays English.

    Raises BadInput naming entry and field. Causes: a chance out of range or a row that does not sum to 1, a
    test without likelihoods for some fault, minutes that are not above 0, a repeated or unknown id, no
    source.
    """
    fields = Fields(
        data, "faults", Said("expected/object-with", fields="complaint, tool, fault", last="test")
    )
    no_tools: dict[str, _Tool] = {}
    tools = fields.take("tool", _by_id("tool", _tool, language), no_tools)
    complaints = fields.need(
        "complaint", _by_id("complaint", _complaint, language), Said("expected/list-of-complaints")
    )
    faults = fields.need(
        "fault", _by_id("fault", _fault_of(complaints), language), Said("expected/list-of-faults")
    )
    tests = fields.need(
        "test", _by_id("test", _test_of(complaints, faults, tools), language), Said("expected/list-of-tests")
    )
    fields.end()
    for complaint in complaints:
        if not any(complaint in fault.priors for fault in faults.values()):
            raise BadInput(
                Said("place/complaint", complaint=complaint),
                Said("seen/no-fault"),
                Said("expected/at-least-one"),
            )
        if not any((complaint, SOMETHING_ELSE) in test.rows for test in tests.values()):
            raise BadInput(
                Said("place/complaint", complaint=complaint),
                Said("seen/no-test"),
                Said("expected/at-least-one"),
            )
    for name, test in tests.items():
        if name in tools:  # --without takes both
            raise BadInput(inside(Said("place/test", test=name), "id"), name, Said("expected/word-not-tool"))
        for first in test.first:
            known(tests, Said("kind/a-test"))(first, inside(Said("place/test", test=name), "first"))
    return Model(complaints, faults, tests, {tool.id: tool.says for tool in tools.values()})


def _by_id(
    kind: str, read: Callable[[Fields, Wording], N], language: str
) -> Callable[[object, Wording], dict[str, N]]:
    """Return a reader of ``[[kind]]`` entries; messages name each by its id, or by its number without one."""

    def read_all(value: object, place: Wording) -> dict[str, N]:
        entries = listed(lambda one, _: one, ENTRIES)(value, place)
        if not entries:
            raise BadInput(place, Said("seen/empty-list"), Said("expected/at-least-one"))
        found: dict[str, N] = {}
        for count, entry in enumerate(entries, 1):
            said = entry.get("id") if isinstance(entry, Mapping) else None
            name = f"{kind} {said[:60]}" if isinstance(said, str) else f"{kind} {count}"
            fields = Fields(
                _in_language(entry, name, language), name, Said("expected/object-with-id", field="id")
            )
            one = read(fields, name)
            fields.end()
            if one.id in found or one.id == SOMETHING_ELSE:
                raise BadInput(inside(name, "id"), one.id, Said("expected/own-id"))
            found[one.id] = one
        return found

    return read_all


#: Fields of an entry that are texts for people.
_TEXTS: Final = ("says", "mend", "caution", "asks", "how")


def _in_language(entry: object, name: str, language: str) -> object:
    """Return the entry with its texts in this language, and without its translations."""
    if not isinstance(entry, Mapping):
        return entry
    own = {key: value for key, value in entry.items() if key not in LANGUAGES}
    for code in LANGUAGES[1:]:
        texts = _translation(entry[code], own, inside(name, code)) if code in entry else {}
        if code == language:
            own |= texts
    return own


def _translation(table: object, own: Mapping[str, object], place: Wording) -> dict[str, object]:
    fields = Fields(table, place, Said("expected/table-of-texts"))
    texts: dict[str, object] = {key: fields.need(key, sentence) for key in _TEXTS if key in own}
    answers = own.get("answers")
    if isinstance(answers, Mapping):
        read = keyed(known(answers, Said("kind/an-answer")), sentence, ANSWERS)
        texts["answers"] = said = fields.need("answers", read)
        if list(said) != list(answers):
            raise BadInput(inside(place, "answers"), ", ".join(said), ", ".join(map(str, answers)))
    fields.end()
    return texts


@dataclass(frozen=True, slots=True)
class _Tool:
    id: str
    says: str


def _tool(fields: Fields, _: Wording) -> _Tool:
    return _Tool(
        fields.need("id", word, Said("expected/word-such-as", example="ohmmeter")),
        fields.need("says", sentence, Said("expected/what-it-is")),
    )


def _complaint(fields: Fields, _: Wording) -> Complaint:
    _source(fields)
    return Complaint(
        id=fields.need("id", word, Said("expected/word-such-as", example="no-sound")),
        says=fields.need("says", sentence, Said("expected/what-is-heard")),
        elsewhere=fields.need("elsewhere", number(0, 0.5, _ELSEWHERE, above=True), _ELSEWHERE),
        outcome=fields.take("outcome", Outcome.read, None),
        speakers=fields.take("speakers", Speakers.read, None),
        names=fields.take("names", listed(sentence, ENTRIES), ()),
    )


_ELSEWHERE: Final = Said("expected/elsewhere")
_ODDS: Final = Said("expected/odds")
_TIMES: Final = Said("expected/number-above-to", low=0, high=100)


def _source(fields: Fields) -> None:
    """Check that every number has a source."""
    fields.need("source", sentence, Said("expected/who-says-so"))


def _fault_of(complaints: Mapping[str, Complaint]) -> Callable[[Fields, Wording], Fault]:
    def read(fields: Fields, name: Wording) -> Fault:
        _source(fields)
        odds = keyed(known(complaints, Said("kind/a-complaint")), number(0, 1000, _ODDS, above=True), ENTRIES)
        facts, factor = dict.fromkeys(FACTS), number(0, 100, _TIMES, above=True)
        fault = Fault(
            id=fields.need("id", word, Said("expected/word-such-as", example="bad-cable")),
            side=fields.need("side", Side.read, Said("expected/side-such-as")),
            says=fields.need("says", sentence, Said("expected/what-is-wrong")),
            mend=fields.need("mend", sentence, Said("expected/sentence-of-mending")),
            priors=fields.need("prior", odds, Said("expected/prior-odds")),
            needs=fields.take("needs", _needs, ()),
            caution=fields.take("caution", sentence, ""),
            of_the_set=fields.take("of_the_set", truth, False),
            told=fields.take("told", keyed(known(facts, Said("kind/a-fact")), factor, len(FACTS)), {}),
        )
        if not fault.priors:
            raise BadInput(inside(name, "prior"), Said("seen/empty-table"), Said("expected/odds-for-one"))
        return fault

    return read


def _needs(value: object, place: Wording) -> tuple[str, ...]:
    needs = listed(_trait_sum, 16)(value, place)
    for one in needs:
        for trait in one.split("+"):
            if trait not in TRAITS:
                raise BadInput(place, trait, expected_one(trait, list(TRAITS), Said("kind/a-trait")))
    return needs


def _trait_sum(value: object, place: Wording) -> str:
    """Read traits such as ``optical`` or ``optical+splitter``."""
    parts = value.split("+") if isinstance(value, str) else [value]
    return "+".join(word(one, place) for one in parts)


@dataclass(frozen=True, slots=True)
class _Given:
    """Hold one table of likelihoods: for these complaints, by fault, else by side, else otherwise."""

    complaints: tuple[str, ...]
    otherwise: Row | None
    sides: Mapping[str, Row] = field(default_factory=dict)
    faults: Mapping[str, Row] = field(default_factory=dict)


def _test_of(
    complaints: Mapping[str, Complaint], faults: Mapping[str, Fault], tools: Mapping[str, _Tool]
) -> Callable[[Fields, Wording], Test]:
    def read(fields: Fields, name: Wording) -> Test:
        _source(fields)
        answers = fields.need("answers", keyed(word, sentence, ANSWERS), Said("expected/possible-answers"))
        if len(answers) < 2:
            raise BadInput(inside(name, "answers"), list(answers), Said("expected/answers-to", most=ANSWERS))
        one_answer = known(answers, Said("kind/an-answer-of-test"))
        test = Test(
            id=fields.need("id", word, Said("expected/word-such-as", example="red-glow")),
            asks=fields.need("asks", sentence, Said("expected/question")),
            how=fields.need("how", sentence, Said("expected/how-to-do-it")),
            minutes=fields.need("minutes", number(0, MINUTES, _MINUTES, above=True), _MINUTES),
            answers=answers,
            tools=fields.take("tools", listed(known(tools, Said("kind/a-tool")), 8), ()),
            needs=fields.take("needs", _needs, ()),
            healthy=fields.take("healthy", one_answer, ""),
            caution=fields.take("caution", sentence, ""),
            loud=fields.take("loud", truth, False),
            ends=fields.take("ends", listed(one_answer, len(answers)), ()),
            plain=fields.take("plain", truth, False),
            first=fields.take("first", listed(word, 8), ()),
            shows=fields.take(
                "shows", keyed(one_answer, known(faults, Said("kind/a-fault")), len(answers)), {}
            ),
            proves=fields.take("proves", keyed(one_answer, listed(Side.read, len(Side)), len(answers)), {}),
        )
        read_given = _given_of(complaints, faults, len(answers))
        given = fields.need("given", listed(read_given, len(complaints)), Said("expected/likelihoods"))
        return replace(test, rows=_rows(name, given, faults, len(answers), _alike(test)))

    return read


_MINUTES: Final = Said("expected/minutes", most=f"{MINUTES:g}")


def _given_of(
    complaints: Mapping[str, Complaint], faults: Mapping[str, Fault], count: int
) -> Callable[[object, Wording], _Given]:
    def read(value: object, place: Wording) -> _Given:
        fields = Fields(value, place, Said("expected/object-with", fields="complaints", last="likelihoods"))
        row = chances(count)
        names = {**faults, SOMETHING_ELSE: None}
        sides = {side.value: side for side in Side if side is not Side.ELSEWHERE}
        given = _Given(
            complaints=fields.need(
                "complaints",
                listed(known(complaints, Said("kind/a-complaint")), len(complaints)),
                "complaints",
            ),
            otherwise=fields.take("otherwise", row, None),
            sides=fields.take("sides", keyed(known(sides, Said("kind/a-side")), row, ENTRIES), {}),
            faults=fields.take("faults", keyed(known(names, Said("kind/a-fault")), row, ENTRIES), {}),
        )
        fields.end()
        for fault in given.faults:
            if fault != SOMETHING_ELSE and not set(given.complaints) & set(faults[fault].priors):
                explains = ", ".join(given.complaints)
                raise BadInput(
                    inside(place, "faults"), fault, Said("expected/fault-that-explains", complaints=explains)
                )
        return given

    return read


def _rows(
    name: Wording, given: Sequence[_Given], faults: Mapping[str, Fault], count: int, alike: float
) -> dict[tuple[str, str], Row]:
    """Return the chance of each answer for every complaint and fault, with the floor under each."""
    rows: dict[tuple[str, str], Row] = {}
    for table_no, one in enumerate(given, 1):
        for complaint in one.complaints:
            place = Said("place/nth", place=inside(name, "given"), number=table_no)
            if (complaint, SOMETHING_ELSE) in rows:
                raise BadInput(inside(place, "complaints"), complaint, Said("expected/each-complaint-once"))
            rows[complaint, SOMETHING_ELSE] = _floored(
                one.faults.get(SOMETHING_ELSE) or _unlisted(one, count, alike)
            )
            for fault in faults.values():
                if complaint in fault.priors:
                    row = one.faults.get(fault.id) or one.sides.get(fault.side) or one.otherwise
                    if row is None:
                        missing = inside(place, "faults", fault.id)
                        raise BadInput(missing, NOTHING, Said("expected/row"))
                    rows[complaint, fault.id] = _floored(row)
    return rows


def _alike(test: Test) -> float:
    """Return the share of answers alike for a fault outside the list; the rest is as otherwise.

    A plain look shows hardly anything wrong there, and no step ends the complaint.
    """
    return 0.004 if test.plain else 0.02 if test.ends else 0.25


def _unlisted(given: _Given, count: int, alike: float) -> Row:
    """Return chances for a fault outside the list."""
    even = (1.0 / count,) * count
    return tuple((1 - alike) * p + alike * q for p, q in zip(given.otherwise or even, even, strict=True))


def _floored(row: Row) -> Row:
    return tuple(FLOOR + (1.0 - FLOOR * len(row)) * chance for chance in row)
