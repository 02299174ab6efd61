"""Compute from the answers so far how likely each fault is, and which test comes next.

The search assumes one fault at a time, with *something else* always in the list. Each answer multiplies the
odds of a fault by the chance of that answer under the fault (Bayes). Given the fault, tests are taken as
independent. The next test is the one with most information for its minutes (``choose``).

Two faults at once break that assumption. They show as answers that no single fault explains. Then
``State.contradiction`` names the pair that would explain them, if it does so better than one wrong answer.
After the likelier one is repaired, ``State.repaired`` starts again with only those answers that the repair
cannot have changed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Any, Final

from kb.base.errors import BadInput, inside
from kb.base.messages import Said, Wording, either
from kb.base.text import line
from kb.base.validation import Fields, keyed, listed
from kb.isolate.model import FLOOR, SOMETHING_ELSE, Model, Side, Test
from kb.isolate.next_test import SURE, after, answer_chances, bits, choose
from kb.isolate.path_used import UNKNOWN_PATH, PathUsed, path_used_from, path_used_to
from kb.isolate.readers import expected_one, known

UNLIKELY: Final = 0.06  #: an answer below this chance does not fit a fault
SEEN: Final = 0.95  #: a fault that somebody saw with their eyes has at least this chance
#: Sides of the two halves of the chain, on both sides of the driver's input.
HALVES: Final = (frozenset({Side.SOURCE, Side.CONVERTER}), frozenset({Side.LOOP, Side.WEARER}))
ANSWERED: Final = 200  #: answers in a file, at most


@dataclass(frozen=True, slots=True)
class Outlook:
    """Describe one possible answer to the next test: its chance, and the likeliest fault after it."""

    answer: str
    p: float
    fault: str
    p_fault: float


@dataclass(frozen=True, slots=True)
class NextTest:
    """Hold the test to do next; ``bits`` of information are expected for ``minutes`` of work."""

    test: Test
    bits: float
    outlooks: tuple[Outlook, ...]

    @property
    def minutes(self) -> float:
        """Return the minutes of work that the test takes."""
        return self.test.minutes


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Hold answers that no single fault explains.

    ``odd``: the (test, answer) that fits worst with the rest. ``pair``: two faults that together explain all,
    or None.
    """

    odd: tuple[str, str]
    pair: tuple[str, str] | None


@dataclass(frozen=True)
class State:
    """Hold the facts known so far; every change gives a new state (see :func:`start`, :func:`state_from`)."""

    model: Model
    complaint: str
    path: PathUsed = UNKNOWN_PATH
    answers: tuple[tuple[str, str], ...] = ()
    without: tuple[str, ...] = ()
    """Tools that are not at hand, and tests that were skipped."""
    mended_faults: tuple[str, ...] = ()
    """Repaired, and the complaint stayed."""
    fixed: str = ""
    """Repaired, and the complaint was gone; empty before that."""
    make: str = ""
    set_model: str = ""
    job: str = ""
    """The reference of the job that the search is for."""

    # -- what changes it

    def answer(self, test: str, answer: str) -> State:
        """Add an answer; a second answer to the same test replaces the first.

        Raises BadInput on a test that does not exist or cannot be done for this complaint on this path, and
        on an answer that the test does not have.
        """
        tests = {one.id: one for one in self._tests}
        if test not in tests:
            raise BadInput(inside("answers", test[:60]), test, self._expected_test(test, list(tests)))
        if answer not in tests[test].answers:
            expected = expected_one(answer, list(tests[test].answers), Said("kind/an-answer"))
            raise BadInput(inside("answers", test), answer, expected)
        kept = tuple(one for one in self.answers if one[0] != test)
        return replace(self, answers=(*kept, (test, answer)))

    def along(self, path: PathUsed) -> State:
        """Set the path; answers to tests that cannot be done on it are dropped."""
        here = {test.id for test in self.model.tests_for(self.complaint, path)}
        return replace(self, path=path, answers=tuple(one for one in self.answers if one[0] in here))

    def undo(self) -> State:
        """Take back the repair that had ended the complaint, else the last answer."""
        if self.fixed:
            return replace(self, fixed="")
        return replace(self, answers=self.answers[:-1])

    def excluding(self, *names: str) -> State:
        """Exclude these tools (``ohmmeter``) or tests (``red-glow``); raises BadInput on any other word."""
        choices = {**self.model.tools, **self.model.tests}
        for name in names:
            known(choices, Said("kind/a-tool-or-test"))(name, "without")
        return replace(self, without=tuple(dict.fromkeys((*self.without, *names))))

    def repaired(self, fault: str) -> State:
        """Continue after ``fault`` was repaired and the complaint stays: look for the next one.

        Answers that showed something sound stay true. All others may come from the repaired fault and are
        dropped.
        """
        self.model.fault_of(self.complaint)(fault, "mended")
        sound = tuple((test, said) for test, said in self.answers if self.model.tests[test].healthy == said)
        gone = self.mended_faults if fault in self.mended_faults else (*self.mended_faults, fault)
        return replace(self, answers=sound, mended_faults=gone, fixed="")

    def fixed_by(self, fault: str) -> State:
        """End after ``fault`` (or something else) was repaired and the complaint is gone: nothing is left to
        ask.

        Raises BadInput on a fault that does not explain this complaint, or was repaired before in vain.
        """
        left = {one: one for one in self.model.weights(self.complaint) if one not in self.mended_faults}
        known(left, Said("kind/a-fault-of-complaint"))(fault, "fixed")
        return replace(self, fixed=fault)

    # -- what it says

    @cached_property
    def _tests(self) -> tuple[Test, ...]:
        return self.model.tests_for(self.complaint, self.path)

    @cached_property
    def _priors(self) -> dict[str, float]:
        return self.model.priors(self.complaint, self.path, self.mended_faults)

    @cached_property
    def odds(self) -> dict[str, float]:
        """Return the chance of each fault that can be on this path, in the order of the model; sums to 1."""
        odds = dict(self._priors)
        for test, answer in sorted(self.answers):  # their order must not change the result
            odds = after(self.complaint, odds, self.model.tests[test], answer)
        if self.fixed:
            # A repair outweighs every test, though not for good: chance repairs things, too.
            return _raised(odds, self.fixed, 1 - FLOOR)
        if self.seen and odds[self.seen] < SEEN:
            return _raised(odds, self.seen, SEEN)
        return odds

    @property
    def seen(self) -> str:
        """Return the fault that somebody saw, such as a plug in the wrong socket; empty if there is none."""
        for test, said in reversed(self.answers):
            if (fault := self.model.tests[test].shows.get(said)) in self._priors:
                return fault
        return ""

    @property
    def likely(self) -> tuple[tuple[str, float], ...]:
        """Return (fault, chance), the likeliest first; the chances sum to 1."""
        return tuple(sorted(self.odds.items(), key=lambda one: -one[1]))

    @cached_property
    def open_tests(self) -> tuple[Test, ...]:
        """Return tests that can still be done: not answered, not excluded, tools at hand."""
        done = {test for test, _ in self.answers}
        return tuple(
            test
            for test in self._tests
            if test.id not in done and test.id not in self.without and not set(test.tools) & set(self.without)
        )

    @property
    def head(self) -> str:
        """Return the fault to act on: the one whose repair helped, else the likeliest."""
        return self.fixed or self.likely[0][0]

    @property
    def gone(self) -> bool:
        """Return whether the complaint is gone, by a repair or by a step of a test."""
        return bool(self.fixed) or any(said in self.model.tests[test].ends for test, said in self.answers)

    @property
    def settled(self) -> bool:
        """Return whether one fault (or something else) has 0.9 or more, or a repair ended the complaint."""
        return bool(self.fixed) or max(self.odds.values()) >= SURE

    @property
    def halves_good(self) -> bool:
        """Return whether answers show both halves of the chain good: the fault is where they meet."""
        good = {side for test, said in self.answers for side in self.model.tests[test].proves.get(said, ())}
        return not self.gone and all(half <= good for half in HALVES)

    @cached_property
    def next_test(self) -> NextTest | None:
        """Return the open test to do next.

        None if one fault has 0.9, no test gives information, or the complaint is gone: a working chain cannot
        be tested for its fault.
        """
        if self.settled or self.gone:
            return None
        share = {test.id: self.path.share(test.needs) for test in self.open_tests}
        test = choose(self.complaint, self.odds, self.open_tests, share)
        return NextTest(test, self.bits(test), self._outlooks(test)) if test else None

    @property
    def done(self) -> bool:
        """Return whether there is nothing more to ask; then the head of ``likely`` is the best answer."""
        return self.next_test is None

    def bits(self, test: Test) -> float:
        """Return the expected information of a test about the fault, in bits."""
        return bits(self.complaint, self.odds, test)

    @cached_property
    def contradiction(self) -> Contradiction | None:
        """Return a contradiction if every listed fault makes at least one of the answers unlikely."""
        faults = [fault for fault in self._priors if fault != SOMETHING_ELSE]
        fits = {fault: [self._chance(test, fault, said) for test, said in self.answers] for fault in faults}
        if self.fixed or not fits or not self.answers or any(min(row) > UNLIKELY for row in fits.values()):
            return None
        # Find the odd answer: without it, the best single explanation gains most.
        spared = [
            max(self._priors[fault] * math.prod(row[:skip] + row[skip + 1 :]) for fault, row in fits.items())
            for skip in range(len(self.answers))
        ]
        alone = max(self._priors[fault] * math.prod(row) for fault, row in fits.items())
        return Contradiction(self.answers[spared.index(max(spared))], self._pair(faults, alone))

    def _pair(self, faults: list[str], alone: float) -> tuple[str, str] | None:
        """Return the likeliest two faults under which no answer is unlikely.

        With two faults at once, both must allow a sound answer; either can cause a faulty one. None if one
        fault and a wrong answer (``alone``) are as likely as two faults.
        """

        def fit(pair: tuple[str, str]) -> list[float]:
            chances = []
            for test, said in self.answers:
                one, two = (self._chance(test, fault, said) for fault in pair)
                asked = self.model.tests[test]
                sound = said in ("good", asked.healthy, *asked.ends)
                chances.append(one * two if sound else max(one, two))
            return chances

        explained = [
            (self._priors[pair[0]] * self._priors[pair[1]] * math.prod(row), pair)
            for pair in combinations(faults, 2)
            if min(row := fit(pair)) > UNLIKELY
        ]
        likeliest, pair = max(explained, default=(0.0, None))
        return pair if likeliest > alone else None

    def _chance(self, test: str, fault: str, answer: str) -> float:
        return self.model.tests[test].chance(self.complaint, fault, answer)

    def _outlooks(self, test: Test) -> tuple[Outlook, ...]:
        outlooks = []
        chances = answer_chances(self.complaint, self.odds, test)
        for answer, p in zip(test.answers, chances, strict=True):
            fault, p_fault = max(
                after(self.complaint, self.odds, test, answer).items(), key=lambda one: one[1]
            )
            outlooks.append(Outlook(answer, p, fault, p_fault))
        return tuple(outlooks)

    def _expected_test(self, test: str, here: list[str]) -> Wording:
        if test in self.model.tests:
            needs = self.model.tests[test].needs
            fits = any(complaint == self.complaint for complaint, _ in self.model.tests[test].rows)
            if fits:
                return Said("expected/test-for-path", needs=either(needs))
            return Said("expected/test-for-complaint", complaint=self.complaint, tests=", ".join(here))
        return expected_one(test, here, Said("kind/a-test"))


def _raised(odds: dict[str, float], fault: str, p: float) -> dict[str, float]:
    """Return the odds with ``p`` for this fault; those of the others keep their proportions."""
    rest = sum(one for name, one in odds.items() if name != fault)
    share = (1 - p) / rest if rest else 0.0
    raised = {name: one * share for name, one in odds.items() if name != fault}
    return raised | {fault: 1 - sum(raised.values())}


def start(model: Model, complaint: str, path: PathUsed | None = None) -> State:
    """Return a state without answers; raises BadInput on a complaint that the model does not have."""
    known(model.complaints, Said("kind/a-complaint"))(complaint, "complaint")
    return State(model, complaint, path or UNKNOWN_PATH)


# -- to and from a file ------------------------------------------------------------------------------


def state_from(model: Model, data: object, place: Wording = "answers") -> State:
    """Read the state from an answers file (parsed JSON).

    Keys: ``complaint``, and at will ``make``, ``model``, ``job``, ``path`` {``signal``, ``items``,
    ``input``}, ``answers`` {test: answer}, ``without`` [tool or test], ``mended`` [fault], ``fixed`` fault.
    Raises BadInput naming the key or test, the value and the expected value.
    """
    nothing: tuple[str, ...] = ()
    no_answers: dict[str, str] = {}
    fields = Fields(data, place, Said("expected/object-with", fields="complaint, path", last="answers"))
    begun = start(
        model,
        fields.need(
            "complaint", known(model.complaints, Said("kind/a-complaint")), ", ".join(model.complaints)
        ),
        fields.take("path", path_used_from, UNKNOWN_PATH),
    )
    faults = model.fault_of(begun.complaint)
    begun = replace(
        begun,
        make=fields.take("make", line, ""),
        set_model=fields.take("model", line, ""),
        job=fields.take("job", line, ""),
        mended_faults=tuple(dict.fromkeys(fields.take("mended", listed(faults, ANSWERED), nothing))),
    )
    said = fields.take("answers", keyed(line, line, ANSWERED), no_answers)
    without = fields.take("without", listed(line, ANSWERED), nothing)
    fixed = fields.take("fixed", line, "")
    fields.end()
    for test, answer in said.items():
        begun = begun.answer(test, answer)
    begun = begun.excluding(*without)
    return begun.fixed_by(fixed) if fixed else begun


def state_to(state: State) -> dict[str, Any]:
    """Return the state as a dictionary with the keys of an answers file; it reads back to an equal state."""
    said = {
        "complaint": state.complaint,
        "make": state.make,
        "model": state.set_model,
        "job": state.job,
        "path": path_used_to(state.path),
        "answers": dict(state.answers),
        "without": [*state.without],
        "mended": [*state.mended_faults],
        "fixed": state.fixed,
    }
    return {key: value for key, value in said.items() if value or key == "answers"}
