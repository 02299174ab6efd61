"""Check each part of the evidence by hand: who counts, in which group, and what a group borrows."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from itertools import product
from math import log

import pytest

from kb.domain.jack import Jack
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import Basis, Direction, Display, Form, Format, Kind, Outcome, Signal
from kb.evidence import forgetting
from kb.evidence.forgetting import FAMILIES, Forgetting, Note, Said, _apart, occupancy, shapes_of
from kb.evidence.groups import FamilyMix, GroupFacts, Place, chain, display_of, era_of, family_of
from kb.evidence.missing_jacks import likely_first, shared_out
from kb.evidence.numerics import best, expected_tables
from kb.evidence.prior import PlacePrior
from kb.evidence.shrinkage import Chances, Tree, settle
from kb.evidence.signature import is_partial, taken_of
from kb.evidence.visits import Remedies, merged, most, usual, valid_visits

OUT = Jack(Form.TOSLINK, "", Direction.OUTPUT, Signal.OPTICAL)
LEVELS = ("make", "family", "set")


def visit(*findings: Finding, model: str = "NV40-210", day: int = 1, **more: object) -> Visit:
    source = Source("Norwell", model, **more.pop("facts", {}))  # type: ignore[arg-type]
    return Visit(source, date(2026, 3, day), Basis.SEEN, findings, **more)  # type: ignore[arg-type]


# -- groups ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("year", "era"),
    [(1987, "early"), (1988, "1988"), (1997, "1988"), (1998, "1998"), (2020, "2020"), (2031, "2020")],
)
def test_an_era_begins_with_its_first_year(year: int, era: str) -> None:
    assert era_of(year) == era


@pytest.mark.parametrize(("year", "display"), [(1997, "tube"), (1998, "*"), (2009, "*"), (2010, "flat")])
def test_a_television_is_a_tube_before_1998_and_flat_from_2010_unless_somebody_says_else(
    year: int, display: str
) -> None:
    assert display_of(Source("N", "X", year=year)) == display
    assert display_of(Source("N", "X", year=year, display=Display.PROJECTOR)) == "projector"
    assert display_of(Source("N", "X", Kind.SOUNDBAR, year=year)) == "*"


def test_a_set_without_a_make_belongs_to_no_family_and_one_without_a_family_to_its_make() -> None:
    place = Place(Kind.TELEVISION, "2010", "flat")
    assert [level for level, _ in chain(place)] == ["all", "kind", "era-display"]
    assert [level for level, _ in chain(place, make="Norwell", key="X")][3:] == ["make-era", "set"]
    assert family_of(Source("", "NV40-210")) == family_of(Source("Norwell", "")) == ""


@pytest.mark.parametrize(
    ("model", "family"),
    [("40NV210", "#NV2"), ("NV401234-55", "NV#12"), ("N4V40", "N4V#"), ("NV40-2", "NV#2")],
)
def test_of_each_number_but_the_size_the_first_digit_is_the_series(model: str, family: str) -> None:
    assert family_of(Source("Norwell", model)).startswith(f"NORWELL/{family[:3]}")


def test_a_set_of_which_the_make_is_known_is_of_a_family_met_there_or_of_a_new_one() -> None:
    flat = GroupFacts(Kind.TELEVISION, "2010", "flat")
    old = GroupFacts(Kind.TELEVISION, "1998", "tube")
    sets = {f"NORWELL/{n}": flat._replace(family="NORWELL/A" if n < 3 else "NORWELL/B") for n in range(4)}
    sets |= {"NORWELL/9": old._replace(family="NORWELL/C"), "OTHER/1": flat, "NORWELL/5": flat}
    mix = FamilyMix(sets, {"NORWELL/A": flat, "NORWELL/B": flat, "NORWELL/C": old})
    whole = 5 + mix.fresh

    def shares(*place: str) -> dict[str, float]:
        return {path[-1][1]: p for p, path in mix.of("NORWELL", Place(Kind.TELEVISION, *place))}

    assert shares("2010", "flat") == pytest.approx(
        {"NORWELL/A": 3 / whole, "NORWELL/B": 1 / whole, "NORWELL/5": 1 / whole}
    )
    assert set(shares("2010")) == set(shares("*", "flat")) == {"NORWELL/A", "NORWELL/B", "NORWELL/5"}
    assert set(shares()) == {"NORWELL/A", "NORWELL/B", "NORWELL/C", "NORWELL/5"}
    assert shares("2010", "tube") == {}
    assert mix.of("NORWELL", Place(Kind.SOUNDBAR)) == []
    assert mix.of("OSTREL", Place(Kind.TELEVISION)) == []


def test_a_book_of_many_families_expects_new_ones_and_a_book_of_one_does_not() -> None:
    fact = GroupFacts(Kind.TELEVISION, "2010", "flat")
    many = FamilyMix({f"N/{n}": fact for n in range(20)}, {})
    one = FamilyMix({f"N/{n}": fact._replace(family="N/A") for n in range(20)}, {"N/A": fact})
    assert many.fresh > 12 > 2 > one.fresh
    assert FamilyMix({}, {}).fresh == pytest.approx(6, rel=1e-3), "common practice, before any finding"


@pytest.mark.parametrize(
    ("asked", "covered"),
    [(("2010", "flat"), True), (("*", "flat"), True), (("2010", "*"), True), (("2005", "flat"), False),
     (("2010", "tube"), False)],
)  # fmt: skip
def test_a_place_of_the_prior_covers_what_is_known_and_what_is_not(
    asked: tuple[str, str], covered: bool
) -> None:
    assert PlacePrior(Kind.TELEVISION, "2010", "flat", 1, {}).covers("television", *asked) is covered
    assert PlacePrior(Kind.TELEVISION, "*", "*", 1, {}).covers("television", *asked)
    assert not PlacePrior(Kind.TELEVISION, "*", "*", 1, {}).covers("soundbar", *asked)


# -- visits ----------------------------------------------------------------------------------------


def test_a_visit_counts_once_and_not_if_another_takes_its_place_or_nobody_knows_the_set() -> None:
    first, second = visit(id="a", day=2), visit(id="b", day=1, supersedes=("c",))
    nameless = visit(id="d", model="-")
    assert valid_visits([first, first, second, visit(id="c"), nameless]) == [second, first]


def test_a_set_is_what_most_of_its_visits_say_and_of_equals_the_first_by_name() -> None:
    facts = ({"year": 2013}, {"year": 2014}, {"year": 2014, "size_in": 40.0}, {"display": Display.FLAT})
    found = merged([visit(facts=one) for one in facts])
    assert (found.year, found.size_in, found.display) == (2014, 40.0, Display.FLAT)
    assert (most(["b", "a"]), most(["b", "a", "b"]), most([None])) == ("a", "b", None)


def test_a_family_is_where_most_of_its_sets_are_as_far_as_known() -> None:
    places = [Place(Kind.TELEVISION), Place(Kind.TELEVISION), Place(Kind.TELEVISION, "2010", "flat")]
    assert usual(places) == Place(Kind.TELEVISION, "2010", "flat")
    assert usual(places[:2]) == Place(Kind.TELEVISION)


def test_a_setting_puts_right_what_failed_earlier_or_further_up_and_was_set_otherwise() -> None:
    def trial(outcome: Outcome, setting: str = "", marking: str = "") -> Finding:
        return Finding(Jack(OUT.form, marking, OUT.direction, OUT.signal), outcome=outcome, setting=setting)

    silent, cured = trial(Outcome.SILENT), trial(Outcome.CARRIED, "PCM")

    def right(failed: Finding, cure: Finding, *, cured_on: int = 2, marking: str = "") -> bool:
        visits = [visit(failed, day=1), visit(cure, day=cured_on)]
        return Remedies(visits).put_right(visits[0], failed)

    assert right(silent, cured)
    assert right(trial(Outcome.WEAK), cured)
    assert right(trial(Outcome.SILENT, "bitstream"), cured)
    assert right(trial(Outcome.SILENT, marking="OPT"), cured)
    assert right(silent, trial(Outcome.CARRIED, "PCM", "OPT"))
    assert not right(trial(Outcome.SILENT, marking="OPT 1"), trial(Outcome.CARRIED, "PCM", "OPT 2"))
    assert not right(silent, cured, cured_on=1), (
        "of the same day in another visit: nobody knows which was first"
    )
    assert not right(silent, trial(Outcome.CARRIED))
    assert not right(silent, trial(Outcome.WEAK, "PCM"))
    assert not right(trial(Outcome.SILENT, "pcm"), cured)
    assert not right(trial(Outcome.CARRIED), cured)
    assert not right(trial(Outcome.NOT_TRIED), cured)
    one = visit(silent, cured)
    assert Remedies([one]).put_right(one, silent)
    turned = visit(cured, silent)
    assert not Remedies([turned]).put_right(turned, silent)


def test_a_jack_that_was_silent_and_then_carried_in_the_same_job_after_a_remedy_is_one_that_carries() -> None:
    def trial(outcome: Outcome, **more: Format) -> Finding:
        return Finding(replace(OUT, **more), outcome=outcome)

    silent, plain = trial(Outcome.SILENT), trial(Outcome.CARRIED)
    pcm = trial(Outcome.CARRIED, format=Format.PCM)

    def right(
        cure: Finding, failed: Finding = silent, *, jobs: str = "AA", day: int = 1, case: str = ""
    ) -> bool:
        before = visit(failed, job=jobs[:1])
        return Remedies([before, visit(cure, day=day, job=jobs[1:], case=case)]).put_right(before, failed)

    assert right(pcm), "PCM is the remedy of silence"
    assert right(pcm, jobs="AB", day=2), "a later day tells the order as well as the job does"
    assert right(plain, case="{}", jobs=""), "a repair ended the trouble"
    assert not right(pcm, jobs="AB"), "nobody knows which trial was first"
    assert not right(pcm, jobs=""), "no job is not the same job"
    assert not right(plain, day=2), "nothing says what put it right"
    assert not right(pcm, trial(Outcome.SILENT, format=Format.PCM)), "it had that remedy already"
    assert not right(pcm, trial(Outcome.WEAK)), "PCM makes nothing louder"


def test_what_was_tried_and_not_called_taken_was_free() -> None:
    def found(*said: tuple[bool | None, Outcome]) -> bool | None:
        return taken_of(Finding(OUT, taken=taken, outcome=outcome) for taken, outcome in said)

    untold, tried = Outcome.NOT_TRIED, Outcome.SILENT
    assert found((None, untold)) is None
    assert found((None, tried)) is False
    assert (
        found((True, untold))
        is found((True, untold), (None, tried))
        is found((False, tried), (True, tried))
        is True
    )
    assert found((False, untold)) is found((False, untold), (None, untold)) is False


def test_hearsay_and_a_list_of_trials_say_nothing_of_jacks_that_they_do_not_name() -> None:
    seen, tried = Finding(OUT), Finding(OUT, outcome=Outcome.CARRIED)
    assert not is_partial(visit(seen))
    assert not is_partial(visit(tried, seen))
    assert is_partial(visit(tried, tried))
    assert is_partial(Visit(Source("N", "X"), date(2026, 3, 1), Basis.TOLD, (seen,)))


# -- jacks that somebody forgot --------------------------------------------------------------------


def note(*outputs: str, partial: bool = False, tried: tuple[str, ...] = (), weight: float = 1.0) -> Note:
    return Note(frozenset(outputs), frozenset(tried), partial, weight, ("seen", ""))


def even(shapes: object) -> dict[str, float]:
    return dict.fromkeys(shapes, 0.25)  # type: ignore[call-overload,no-any-return]


def test_a_lone_visit_is_shared_by_the_rule_of_bayes() -> None:
    """P(visit | S) of the docstring by hand, with f = 0.2 and invented 0.01, and even chances before."""
    found = shared_out([note("a")], ["b"], even, 2.0, Forgetting({"seen": 0.2}))
    odds = {"a": 0.8 * 0.99, "a b": 0.8 * 0.2, "none": 0.01 * 0.99}
    assert found == pytest.approx({shape: p / sum(odds.values()) for shape, p in odds.items()})


def test_an_input_may_have_been_recorded_as_an_output_but_not_one_that_was_tried() -> None:
    found = shared_out([note("a", "b", tried=("b",))], [], even, 2.0, Forgetting({"seen": 0.2}))
    assert found == pytest.approx({"a b": 0.8 / 0.81, "b": 0.01 / 0.81})


def test_a_tried_output_says_nothing_of_forgetting() -> None:
    found = shared_out([note("a", tried=("a",))], ["b"], even, 2.0, Forgetting({"seen": 0.2}))
    assert found == pytest.approx({"a": 0.99 / 1.19, "a b": 0.2 / 1.19})


def test_hearsay_counts_for_every_panel_that_has_what_it_names() -> None:
    found = shared_out([note("a", partial=True)], ["b"], even, 2.0, Forgetting({"seen": 0.2}))
    assert found["a"] == pytest.approx(found["a b"])
    assert found["none"] == pytest.approx(0.01 * found["a"])


def test_what_weighs_less_says_less() -> None:
    """Half a visit: both chances get the exponent 0.5."""
    found = shared_out([note("a", weight=0.5)], [], even, 2.0, Forgetting({"seen": 0.2}))
    assert found["none"] / found["a"] == pytest.approx((0.01 / 0.8) ** 0.5)


def test_every_visit_is_shared_out_whole_whatever_its_weight() -> None:
    notes = [note("a", weight=0.5), note("a"), note("a", "b"), note(partial=True)]
    found = shared_out(notes, ["c"], even, 1.0, Forgetting({"seen": 0.1}))
    assert sum(found.values()) == pytest.approx(3.5)


def alone(group: str) -> dict[str, float]:
    """Half of all families have each output."""
    return {"a": 0.5, "b": 0.5, "c": 0.5}


@pytest.mark.parametrize("alternating", [0.0, 0.3])
def test_the_chance_of_an_output_at_each_visit_is_that_of_listing_everything_that_can_be(
    alternating: float,
) -> None:
    """Two sets with two and one visits; every share, way of differing and presence is written out."""
    rows = [(Said(0.8, 0.01, None), Said(0.2, 0.99, None)), (Said(0.3, 0.9, None),)]
    shares = [(0.1, 0.6), (0.5, 0.1), (0.95, 0.3)]
    whole, units_differ, has = 0.0, 0.0, [[0.0, 0.0], [0.0]]
    by_share = [0.0] * len(shares)
    for n, (r, p_r) in enumerate(shares):
        for differ in (False, True):
            for there in product((True, False), repeat=3):
                first, second, other = there
                if not differ and first is not second:
                    continue
                p = p_r * (alternating if differ else 1 - alternating)
                for one in there if differ else (first, other):
                    p *= r if one else 1 - r
                for said, one in zip((*rows[0], *rows[1]), there, strict=True):
                    p *= said.there if one else said.absent
                whole, units_differ = whole + p, units_differ + p * differ
                by_share[n] += p
                has[0][0] += p * first
                has[0][1] += p * second
                has[1][0] += p * other
    found = occupancy(dict.fromkeys(rows, 1), shares, alternating)
    assert found.score == pytest.approx(log(whole))
    assert found.shares == pytest.approx([p / whole for p in by_share])
    assert found.alternates[rows[0]] == pytest.approx(units_differ / whole)
    for row, listed in zip(rows, has, strict=True):
        assert found.has[row] == pytest.approx([p / whole for p in listed])


def test_visits_that_say_the_same_count_as_often_as_they_occur() -> None:
    one, other = (Said(0.8, 0.01, None),), (Said(0.2, 0.99, None),)
    shares = [(0.2, 0.5), (0.9, 0.5)]
    odds = [0.5 * (r * 0.8 + (1 - r) * 0.01) ** 3 * (r * 0.2 + (1 - r) * 0.99) for r, _ in shares]
    found = occupancy({one: 3, other: 1}, shares, 0.1)
    assert found.shares == pytest.approx([p / sum(odds) for p in odds])


def drawn(
    seed: int, forgets: dict[str, float], sets: int, visits: int = 1
) -> dict[str, tuple[str, dict[str, list[Note]]]]:
    """Families whose sets all have a, b and c, or all but one of them; people forget some."""
    draw = random.Random(seed)
    families: dict[str, tuple[str, dict[str, list[Note]]]] = {}
    for family in range(30):
        panel = {"a", "b", "c"} - ({draw.choice("abc")} if family % 2 else set())
        notes: dict[str, list[Note]] = {}
        for one in range(sets):
            for _ in range(visits):
                who = draw.choice(sorted(forgets))
                named = [output for output in sorted(panel) if draw.random() >= forgets[who]]
                notes.setdefault(f"{family} {one}", []).append(note(*named)._replace(who=("seen", who)))
        families[str(family)] = "group", notes
    return families


@pytest.mark.parametrize("rate", [0.0, 0.15, 0.35])
def test_forgetting_is_learned_though_no_set_was_visited_twice(rate: float) -> None:
    learned = Forgetting({"seen": 0.06})
    learned.learn(drawn(1, {"": rate}, sets=9), alone)
    assert learned.rates["seen"] == pytest.approx(rate, abs=0.06)


def test_a_person_whose_visits_miss_what_all_others_saw_is_learned_to_forget() -> None:
    learned = Forgetting({"seen": 0.06})
    learned.learn(drawn(2, {"AM": 0.02, "LS": 0.3}, sets=6, visits=2), alone)
    assert learned.rate(("seen", "LS")) == pytest.approx(0.3, abs=0.06)
    assert learned.rate(("seen", "AM")) < 0.06
    assert learned.rate(("seen", "XX")) == learned.rates["seen"]


def test_outputs_that_only_some_sets_have_are_not_taken_for_forgotten() -> None:
    """In each family every other set has c; each set was visited three times, always with the same result."""
    families = drawn(3, {"": 0.0}, sets=6, visits=3)
    for _, sets in families.values():
        for n, key in enumerate(sorted(sets)):
            sets[key] = [note("a", *("c" if n % 2 else "")) for _ in sets[key]]
    learned = Forgetting({"seen": 0.1})
    learned.learn(families, alone)
    assert learned.rates["seen"] < 0.02
    panels = learned.panels(families, alone)
    assert panels["0 0"].get("a c", 0.0) < 0.1 < 2.9 < panels["0 1"]["a c"]


def test_an_output_that_is_tried_by_chance_is_not_held_against_those_that_are_not() -> None:
    """Each visit tries one output. It is never missing, so fewer are missing than people forget."""
    draw = random.Random(4)
    families: dict[str, tuple[str, dict[str, list[Note]]]] = {}
    for family in range(30):
        panel = sorted({"a", "b", "c"} - ({draw.choice("abc")} if family % 2 else set()))
        sets = families[str(family)] = "group", {}
        for n in range(9):
            tried = draw.choice(panel)
            named = {one for one in panel if one == tried or draw.random() >= 0.2}
            sets[1][f"{family} {n}"] = [note(*named, tried=(tried,))]
    learned = Forgetting({"seen": 0.06})
    learned.learn(families, alone)
    assert learned.rates["seen"] == pytest.approx(0.2, abs=0.05)


def test_a_family_with_two_boards_is_told_apart_and_one_whose_outputs_are_forgotten_is_not() -> None:
    two = {str(n): [note("a", "b") if n % 2 else note("c")] for n in range(12)}
    learned = Forgetting({"seen": 0.06})
    boards = learned.boards({"F": ("group", two)}, alone)
    assert sorted(len(sets) for _, sets in boards.values()) == [6, 6]
    for family in drawn(5, {"": 0.3}, sets=12).values():
        assert len(learned.boards({"F": family}, alone)) == 1


def test_a_set_whose_units_differ_is_in_both_boards() -> None:
    sets = {str(n): [note("a", "b"), note("c"), note("a", "b"), note("c")] for n in range(6)}
    boards = Forgetting({"seen": 0.06}).boards({"F": ("group", sets)}, alone)
    assert [{key: len(notes) for key, notes in some.items()} for _, some in boards.values()] == [
        dict.fromkeys(sets, 2),
        dict.fromkeys(sets, 2),
    ]


def test_rates_that_are_given_stay_and_only_the_wider_groups_are_learned() -> None:
    learned = Forgetting({"seen": 0.06}, {"seen": 0.3}, {"mixed": 0.2})
    learned.learn(drawn(6, {"": 0.0}, sets=4), alone, rates=False)
    assert (learned.rates, learned.shares) == ({"seen": 0.3}, {"mixed": 0.2})


def test_the_rates_of_a_large_book_are_learned_from_an_even_sample_of_its_families() -> None:
    families = {str(n): ("group", {str(n): [note("a", "b")] * 2}) for n in range(2 * FAMILIES)}
    some = {key: families[key] for key in sorted(families)[::2]}
    all_of_them, sampled = Forgetting({"seen": 0.06}), Forgetting({"seen": 0.06})
    all_of_them.learn(families, alone)
    sampled.learn(some, alone)
    assert all_of_them.rates == sampled.rates


def test_panels_are_the_outputs_by_their_chances() -> None:
    found = dict(shapes_of({"a": 0.9999, "b": 0.25, "c": 0.0001, "d": 0.5}))
    assert found == pytest.approx({"a": 0.375, "a b": 0.125, "a d": 0.375, "a b d": 0.125})


def test_of_many_uncertain_outputs_those_nearest_to_one_half_stay_uncertain(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(forgetting, "OPEN", 1)
    assert dict(shapes_of({"a": 0.6, "b": 0.8, "c": 0.3})) == pytest.approx({"a b": 0.6, "b": 0.4})
    assert dict(shapes_of({"a": 0.1, "b": 0.5, "c": 0.55})) == pytest.approx({"b c": 0.5, "c": 0.5})
    monkeypatch.setattr(forgetting, "OPEN", 2)
    every = dict(shapes_of({"a": 0.6, "b": 0.8, "c": 0.3}))
    assert every == pytest.approx({"a b": 0.42, "b": 0.28, "a b c": 0.18, "b c": 0.12})


@pytest.mark.parametrize(
    ("one", "other", "both", "neither", "apart"),
    [
        (2, 2, 0, 0, True),  # 2.5 x 2.5 against 3 x 0.5 x 0.5
        (1, 10, 0, 0, False),  # seen once instead of the other: too seldom
        (10, 1, 0, 0, False),
        (6, 6, 3, 3, True),  # 42.25 against 36.75
        (6, 6, 4, 3, False),  # 42.25 against 47.25
        (6, 6, 3, 4, False),
        (0, 0, 9, 9, False),
    ],
)
def test_two_outputs_are_apart_if_visits_name_either_three_times_as_often_as_chance_would(
    one: int, other: int, both: int, neither: int, apart: bool
) -> None:
    # the odds ratio of a table of four counts, half a visit added to each (Haldane's correction, from memory)
    seen = {"a": one, "b": other, "ab": both, "": neither}
    visits = {frozenset(named): count for named, count in seen.items() if count}
    assert _apart(visits) == (["a", "b"] if apart else [])


def test_how_often_visits_try_an_output_is_learned_as_the_share_of_their_visits() -> None:
    # Half a visit of each kind to begin with: 12 of 12 visits tried output a, and none tried b or nothing.
    sets = {str(n): [note("a", tried=("a",))] for n in range(12)}
    learned = Forgetting({"seen": 0.06})
    learned.learn({"F": ("group", sets)}, lambda _: {"a": 0.9})
    tried = [learned.shares[f"seen a {trial} there"] for trial in ("this", "other", "none")]
    assert sum(tried) == pytest.approx(1)
    assert tried == pytest.approx([12.5 / 13.5, 0.5 / 13.5, 0.5 / 13.5], abs=1e-3)


def test_the_next_family_of_a_group_has_an_output_as_often_as_the_families_seen_and_four_of_the_prior() -> (
    None
):
    # 60 visits to each of four families leave no doubt: three have output a, and the prior says one half
    families = {
        str(family): ("group", {str(n): [note(*("a" if family else ""))] for n in range(60)})
        for family in range(4)
    }
    learned = Forgetting({"seen": 0.06})
    learned.learn(families, alone, rates=False)
    new = learned.panels({"new": ("group", {"x": [note(partial=True)]})}, alone)["x"]
    rate = (4 * 0.5 + 3) / (4 + 4)
    # of a family with the output half have it in all but one set in a hundred, and half in one of two
    expected = 0.01 * (1 - rate) + rate * (0.5 * 0.5 + 0.5 * 0.99)
    assert sum(p for shape, p in new.items() if "a" in shape) == pytest.approx(expected, abs=0.005)


def test_panels_rarer_than_one_in_five_hundred_are_left_out() -> None:
    found = dict(shapes_of({"a": 0.03, "b": 0.05}))
    assert found == pytest.approx({"none": 0.9215 / 0.9985, "a": 0.0285 / 0.9985, "b": 0.0485 / 0.9985})
    assert "a b" in dict(shapes_of({"a": 0.041, "b": 0.05}))


def test_only_what_three_sets_in_a_hundred_have_may_be_forgotten_the_likeliest_first() -> None:
    assert likely_first({"a": 0.03, "b": 0.029, "c": 0.5, "d": 0.03}) == ["c", "a", "d"]


# -- borrowing -------------------------------------------------------------------------------------

PRIOR = {"none": 0.5, "a": 0.5}


def tree(*, parts: bool = True) -> Tree:
    """Three sets of two families, with shapes of the parts a, b and c."""
    made = Tree(
        LEVELS,
        lambda _, symbol: 0.5 ** (1 + len(symbol.split())),
        prior=lambda level, _: PRIOR if level == "make" else {},
        worth=3.0,
        room=0.1,
        parts=(lambda shape: () if shape == "none" else tuple(shape.split())) if parts else None,
    )
    for name, family, shape, n in [
        ("one", "x", "a b", 3.0), ("one", "x", "a", 1.0), ("two", "x", "b", 2.0), ("three", "y", "c", 2.0)
    ]:  # fmt: skip
        made.add((("make", "m"), ("family", family), ("set", name)), shape, n)
    return made


SHAPES = ("none", "a", "b", "c", "a b", "a c", "b c", "a b c")


@pytest.mark.parametrize("parts", [True, False])
def test_a_group_is_asked_in_two_ways_and_answers_the_same(parts: bool) -> None:
    made = tree(parts=parts)
    settle(made, learn=parts)
    path = (("make", "m"), ("family", "x"), ("set", "one"))
    for depth, (level, key) in enumerate(path, 1):
        chances, asked = Chances(made), made.chances(path[:depth], SHAPES)
        for shape in SHAPES:
            assert chances.member(level, key, shape) == pytest.approx(asked[shape])
    assert sum(made.chances(path, SHAPES).values()) == pytest.approx(1, abs=0.03)


@pytest.mark.parametrize("parts", [True, False])
@pytest.mark.parametrize(("level", "key"), [("make", "m"), ("family", "x")])
def test_a_group_without_what_one_member_told_it_is_that_group_if_the_member_were_not_there(
    level: str, key: str, parts: bool
) -> None:
    made, less = tree(parts=parts), tree(parts=parts)
    settle(made, learn=False)
    settle(less, learn=False)
    away = {"a b": 0.6, "b": 0.3}
    for shape, n in away.items():
        less.seen[level][key][shape] -= n
    less._parted = {}
    full, gone = Chances(made), Chances(less)
    without, two_ways = full.without(level, key, away), full.two_ways(level, key, away)
    for shape in SHAPES:
        assert without(shape) == pytest.approx(gone.member(level, key, shape))
        assert two_ways(shape) == pytest.approx(gone.two_ways(level, key, {})(shape))
        # Asking so leaves the group as it was.
        assert full.member(level, key, shape) == pytest.approx(Chances(made).member(level, key, shape))


def test_a_set_weighs_its_findings_against_its_family_by_the_rule() -> None:
    made = tree(parts=False)
    settle(made, learn=False)
    path = (("make", "m"), ("family", "x"), ("set", "one"))
    make, family = made.seen["make"]["m"], made.seen["family"]["x"]
    first = 0.9 * 0.5 + 0.1 * 0.25
    p_make = (make["a"] + 3 * first + 2 * first) / (sum(make.values()) + 3 + 2)
    p_family = (family["a"] + 2 * p_make) / (sum(family.values()) + 2)
    assert made.p(path, "a") == pytest.approx((1 + 2 * p_family) / (4 + 2))
    # What each level passed up: expected tables of its counts.
    p_make_b = (make["b"] + 5 * (0.1 * 0.25)) / (sum(make.values()) + 5)
    p_family_b = (family["b"] + 2 * p_make_b) / (sum(family.values()) + 2)
    assert family["b"] == pytest.approx(expected_tables(2 * p_family_b, 2.0), rel=1e-2)


@pytest.mark.parametrize("parts", [True, False])
def test_the_shares_of_the_levels_sum_to_one_and_a_level_without_findings_has_none(parts: bool) -> None:
    made = tree(parts=parts)
    settle(made, learn=False)
    shares = made.shares((("make", "m"), ("family", "unmet")))
    assert sum(shares.values()) == pytest.approx(1)
    assert shares["family"] == 0
    known = made.shares((("make", "m"), ("family", "x"), ("set", "one")))
    assert sum(known.values()) == pytest.approx(1)
    assert known["set"] == pytest.approx(4 / 6)


def test_new_members_have_each_part_as_often_as_the_members_seen() -> None:
    made = tree()
    settle(made, learn=False)
    counts = made.seen["make"]["m"]
    rates = made.rates((("make", "m"),))
    assert set(rates) == {"a", "b", "c"}
    with_a = sum(n for shape, n in counts.items() if "a" in shape.split())
    assert rates["a"] == pytest.approx((with_a + 3 * 0.5 + 2 * 0.002) / (sum(counts.values()) + 3 + 2))
    with_c = sum(n for shape, n in counts.items() if "c" in shape.split())
    assert rates["c"] == pytest.approx((with_c + 2 * 0.002) / (sum(counts.values()) + 3 + 2)), (
        "not in the prior"
    )


def test_a_part_that_only_the_prior_names_is_expected_before_anybody_met_it() -> None:
    made = Tree(
        ("make", "set"),
        lambda _, symbol: 0.25,
        prior=lambda level, _: {"d": 1.0} if level == "make" else {},
        worth=3.0,
        parts=lambda shape: (shape,),
    )
    made.add((("make", "m"), ("set", "one")), "a", 1.0)
    settle(made, learn=False)
    assert made.rates((("make", "m"),)) == pytest.approx(
        {"a": (1 + 2 * 0.002) / (1 + 3 + 2), "d": (3 + 2 * 0.002) / (1 + 3 + 2)}
    )


def test_every_choice_of_the_uncertain_parts_is_thought_of() -> None:
    made = tree()
    settle(made, learn=False)
    found = made.combinations((("make", "m"), ("family", "x"), ("set", "one")))
    assert found == {frozenset(shape.replace("none", "").split()) for shape in SHAPES}


def test_rounds_are_told_as_they_are_done() -> None:
    told: list[tuple[int, int]] = []
    settle(tree(), learn=False, progress=lambda done, of: told.append((done, of)))
    assert told == [(1, 4), (2, 4), (3, 4), (4, 4)]


def test_evidence_is_shared_out_again_between_the_rounds_and_not_after_the_last() -> None:
    shared: list[object] = []
    settle(tree(), learn=False, share=lambda chances, tables: shared.append(tables))
    assert len(shared) == 3


def test_a_lower_level_that_is_mixed_has_a_greater_strength_than_one_of_a_piece() -> None:
    def strength(shapes: list[str]) -> float:
        made = Tree(("make", "set"), lambda _, symbol: 0.25)
        for n in range(12):
            for shape in shapes if len(shapes) > 1 else [["a", "b", "c", "d"][n % 4]] * 4:
                made.add((("make", "m"), ("set", f"s{n}")), shape, 1.0)
        settle(made)
        return made.strengths["set"]

    assert strength(["a", "b", "c", "d"]) > 50 * strength([""])


def test_the_top_of_a_hill_is_found_between_its_ends() -> None:
    assert best(lambda x: -((x - 0.3) ** 2), -1, 2) == pytest.approx(0.3, abs=1e-4)
    assert best(lambda x: x, 0, 1) == pytest.approx(1, abs=1e-4)
    assert best(lambda x: -x, 0, 1) == pytest.approx(0, abs=1e-4)
