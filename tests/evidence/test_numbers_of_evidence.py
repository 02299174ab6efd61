"""Check the functions that counting needs against scipy, series written out, and maxima found by trying."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from scipy import special

from kb.base.errors import BookTrouble
from kb.domain.jack import Jack
from kb.domain.panel import PanelJack
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import Basis, Direction, Display, Form, Format, Kind, Outcome, Signal, Speakers
from kb.evidence import Evidence, standard_prior
from kb.evidence.counting import Counted
from kb.evidence.forgetting import INVENTED, Forgetting, Note, joined
from kb.evidence.groups import FamilyMix, GroupFacts, Place, chain, outer, set_of, widened
from kb.evidence.missing_jacks import ADDED, _panels, shared_out
from kb.evidence.numerics import (
    best,
    beta_cdf,
    beta_quantile,
    digamma,
    expected_tables,
    log_rising,
    strength_of,
)
from kb.evidence.signature import (
    Outlet,
    Output,
    findings_by_output,
    output_of,
    outputs_of,
    panel_from,
    shape_of,
)

SIZES = (0.01, 0.3, 1.0, 2.5, 5.9, 6.0, 6.5, 40.0)


@pytest.mark.parametrize("x", SIZES)
def test_the_derivative_of_the_logarithm_of_gamma_is_scipys(x: float) -> None:
    """The first term left out of the series, 691/32760 x^-12, is 1e-11 at 6."""
    assert digamma(x) == pytest.approx(special.digamma(x), rel=1e-14, abs=1.2e-11)


@pytest.mark.parametrize("a", SIZES)
@pytest.mark.parametrize("n", [1, 2, 3, 7])
def test_a_rising_factorial_is_the_product_and_the_tables_the_sum_of_its_steps(a: float, n: int) -> None:
    """Antoniak (1974): the i-th finding is a new draw with the chance a / (a + i - 1)."""
    assert log_rising(a, n) == pytest.approx(math.log(math.prod(a + i for i in range(n))), abs=1e-9)
    assert expected_tables(a, n) == pytest.approx(sum(a / (a + i) for i in range(n)), abs=1e-8)


@pytest.mark.parametrize("a", SIZES)
def test_half_a_finding_costs_half_and_is_half_a_draw(a: float) -> None:
    for n in (0.0, 0.25, 0.5, 1.0):
        assert log_rising(a, n) == pytest.approx(n * math.log(a))
        assert expected_tables(a, n) == n
    assert log_rising(a, 2.5) == pytest.approx(
        math.log(special.poch(a, 2.5) / special.poch(a, 1)) + math.log(a)
    )
    assert expected_tables(a, 1.5) == pytest.approx(
        1 + a * float(special.digamma(a + 1.5) - special.digamma(a + 1)), abs=1e-9
    )


@pytest.mark.parametrize("a", [0.02, 0.5, 1.0, 3.0, 30.0])
@pytest.mark.parametrize("b", [0.02, 0.5, 1.0, 8.0, 300.0])
def test_beta_chances_and_quantiles_are_scipys(a: float, b: float) -> None:
    for x in (0.001, 0.1, 0.3, 0.5, 0.77, 0.99):
        assert beta_cdf(x, a, b) == pytest.approx(special.betainc(a, b, x), rel=1e-10, abs=1e-13)
    for p in (0.05, 0.5, 0.95):
        assert beta_quantile(p, a, b) == pytest.approx(special.betaincinv(a, b, p), abs=2e-9)


def test_a_maximum_is_found_as_exactly_as_the_steps_allow() -> None:
    asked: list[float] = []

    def hill(x: float) -> float:
        asked.append(x)
        return -abs(x - 0.7)

    found = best(hill, 0.0, 1.0, steps=10)
    assert abs(found - 0.7) <= 0.618034**10 / 2 + 1e-6
    assert len(asked) == len(set(asked)) == 12, "each step asks once"
    assert asked[:2] == pytest.approx([1 - 0.618034, 0.618034], abs=1e-6)


@pytest.mark.parametrize("spread", [None, 1.5, 0.5])
@pytest.mark.parametrize("centre", [2.0, 0.5])
def test_the_strength_is_where_the_findings_are_likeliest(spread: float | None, centre: float) -> None:
    """By trying every strength in steps of one percent."""
    groups = [[(3.0, 0.5), (1.0, 0.25)], [(2.0, 0.25)], [(2.0, 0.25)], [(1.0, 0.5), (0.5, 0.25)]]

    def score(s: float) -> float:
        value = sum(log_rising(s * p, n) for group in groups for n, p in group)
        value -= sum(log_rising(s, sum(n for n, _ in group)) for group in groups)
        return value - (math.log(s / centre) / spread) ** 2 / 2 if spread else value

    tried = max((0.02 * 1.01**k for k in range(1158)), key=score)
    assert strength_of(groups, centre=centre, spread=spread) == pytest.approx(tried, rel=0.011)


def test_without_findings_a_strength_stays_where_it_began() -> None:
    assert strength_of([], centre=3.0) == pytest.approx(3.0, rel=1e-3)
    assert strength_of([[(5.0, 1.0)]], centre=2.0) == pytest.approx(2.0, rel=0.05), (
        "nothing else was possible"
    )


@pytest.mark.parametrize("families", [[1] * 20, [20], [3, 1, 1], [2, 2, 2, 2]])
def test_how_many_new_families_a_make_has_is_where_its_sets_are_likeliest(families: list[int]) -> None:
    """By trying every concentration in steps of one percent, with Ewens' sampling formula for the sets.

    Before there are sets it is 6, and may be 1.5 logarithms from that (common practice).
    """
    fact = GroupFacts(Kind.TELEVISION, "2010", "flat")
    sets = {
        f"N/{k}-{n}": fact._replace(family=f"N/F{k}") for k, size in enumerate(families) for n in range(size)
    }

    def score(a: float) -> float:
        likely = len(families) * math.log(a) - sum(math.log(a + i) for i in range(sum(families)))
        return likely - (math.log(a / 6) / 1.5) ** 2 / 2

    tried = max((0.05 * 1.01**k for k in range(695)), key=score)
    mix = FamilyMix(sets, {f"N/F{k}": fact for k in range(len(families))})
    assert mix.fresh == pytest.approx(tried, rel=0.011)


def test_a_visit_counts_half_when_it_is_a_half_life_old() -> None:
    book = Counted(standard_prior(), lambda source: "", {})
    years = book.prior.half_life_years
    seen = Visit(Source("Norwell", "NV40"), date(2016, 3, 4), Basis.TESTED)
    fresh = book._weight(seen, seen.date)
    assert fresh == book.prior.weights[Basis.TESTED]
    later = seen.date + timedelta(days=365.25 * years)
    assert book._weight(seen, later) == pytest.approx(fresh / 2, rel=1e-3)
    assert book._weight(seen, seen.date - timedelta(days=400)) == fresh, "a date ahead is no more than today"


# -- groups, shapes and panels ------------------------------------------------------------------------


def test_the_groups_of_a_set_lie_inside_each_other() -> None:
    place = Place(Kind.TELEVISION, "2010", "flat")
    path = chain(place, make="Norwell", family="NORWELL/NV#2", key="NORWELL/NV40210")
    wide = "television|2010|flat"
    assert path == (
        ("all", ""),
        ("kind", "television"),
        ("era-display", wide),
        ("make-era", f"{wide}|NORWELL"),
        ("family", "NORWELL/NV#2"),
        ("set", "NORWELL/NV40210"),
    )
    assert [outer(level, key) for level, key in path[1:4]] == [key for _, key in path[:3]]
    assert chain(place, make="-") == path[:3], "no letter of a make"
    assert widened("make-era", f"{wide}|NORWELL") == (
        "television|*|flat|NORWELL",
        "television|2010|*|NORWELL",
        "television|*|*|NORWELL",
    )
    assert widened("era-display", "television|*|flat") == ("television|*|*",)
    assert widened("family", "NORWELL/A") == widened("kind", "television") == ()
    assert set_of(Source("Norwell", "NV40-210")) == "NORWELL/NV40210"
    assert set_of(Source("", "NV40-210")) == set_of(Source("Norwell", "-")) == ""


LINE, OPTICAL = Output(Form.RCA_PAIR, Signal.ANALOG_LINE), Output(Form.TOSLINK, Signal.OPTICAL)
ARC = Output(Form.HDMI, Signal.ARC)


def test_a_shape_names_each_kind_of_output_once_in_a_fixed_order() -> None:
    assert shape_of([OPTICAL, LINE, OPTICAL]) == "rca-pair:analog-line toslink:optical"
    assert outputs_of(shape_of([OPTICAL, LINE])) == (LINE, OPTICAL)
    assert (shape_of([]), outputs_of("none"), joined([])) == ("none", (), "none")
    assert joined(["b", "a"]) == "a b"


def test_only_outputs_of_a_known_signal_belong_to_the_shape() -> None:
    optical = Jack(Form.TOSLINK, "", Direction.OUTPUT, Signal.OPTICAL)
    others = (
        Jack(Form.TOSLINK, "", Direction.INPUT, Signal.OPTICAL),
        Jack(Form.RCA_PAIR, "", Direction.OUTPUT),
    )
    assert output_of(optical) == OPTICAL
    assert [output_of(one) for one in others] == [None, None]
    seen = tuple(Finding(jack) for jack in (optical, *others, optical))
    found = findings_by_output(Visit(Source("N", "X"), date(2026, 3, 1), Basis.SEEN, seen))
    assert found == {OPTICAL: [seen[0], seen[3]]}


def test_a_digital_output_of_an_expected_panel_may_be_set_to_pcm() -> None:
    panel = panel_from(
        (Outlet(OPTICAL, Speakers.STAY_ON), Outlet(LINE, Speakers.MUTE, True), Outlet(ARC, Speakers.MUTE))
    )
    assert [(one.jack.form, one.jack.format, one.speakers, one.taken) for one in panel.jacks] == [
        (Form.TOSLINK, Format.SELECTABLE, Speakers.STAY_ON, False),
        (Form.RCA_PAIR, Format.UNKNOWN, Speakers.MUTE, True),
        (Form.HDMI, Format.SELECTABLE, Speakers.MUTE, False),
    ]
    assert {one.jack.direction for one in panel.jacks} == {Direction.OUTPUT}


# -- jacks that somebody forgot -------------------------------------------------------------------------


def note(
    *outputs: str, partial: bool = False, tried: tuple[str, ...] = (), who: tuple[str, str] = ("seen", "")
) -> Note:
    return Note(frozenset(outputs), frozenset(tried), partial, 1.0, who)


def test_the_panels_behind_a_note_are_those_with_more_jacks_and_those_with_one_less() -> None:
    f, e = 0.2, INVENTED[0]
    forgetting = Forgetting({"seen": f})
    found = _panels(note("a", "b", tried=("a",)), ["c", "b", "d"], forgetting)
    likely = {
        "a b": (1 - f) * (1 - e) ** 2,
        "a b c": (1 - f) * f * (1 - e),
        "a b d": (1 - f) * f * (1 - e),
        "a b c d": (1 - f) * f**2,
        "a": e * (1 - e) ** 2,
    }
    assert found == pytest.approx(likely)
    hearsay = _panels(note("a", partial=True), ["b"], forgetting)
    assert hearsay == pytest.approx({"a": 1.0, "a b": 1.0, "none": e})
    assert len(_panels(note(), "a b c d e f".split(), forgetting)) == 2**ADDED, "no more than four"


def test_visits_to_one_set_judge_each_other() -> None:
    """Two visits, worked out pass by pass: each is weighed by the other and the even chances of the group."""
    f, e, strength, wide = 0.2, 0.01, 2.0, 0.25
    likely = [
        {"a b": (1 - f) ** 2, "b": e * (1 - f), "a": e * (1 - f)},
        {"a": (1 - f) * (1 - e), "a b": (1 - f) * f, "none": e * (1 - e)},
    ]
    shares = [{shape: p / sum(some.values()) for shape, p in some.items()} for some in likely]
    for _ in range(4):
        for n in (0, 1):
            other = shares[1 - n]
            odds = {shape: p * (other.get(shape, 0.0) + strength * wide) for shape, p in likely[n].items()}
            shares[n] = {shape: p / sum(odds.values()) for shape, p in odds.items()}
    forgetting = Forgetting({"seen": f})
    notes = [note("a", "b"), note("a")]
    found = shared_out(notes, [], lambda shapes: dict.fromkeys(shapes, wide), strength, forgetting)
    total = {
        shape: shares[0].get(shape, 0.0) + shares[1].get(shape, 0.0) for shape in (*likely[0], *likely[1])
    }
    assert found == pytest.approx(total, abs=1e-9)


def test_visits_that_say_the_same_are_counted_together() -> None:
    def shared(notes: list[Note]) -> dict[str, float]:
        return shared_out(
            notes, ["c"], lambda shapes: dict.fromkeys(shapes, 0.1), 1.0, Forgetting({"seen": 0.1})
        )

    twice = shared([note("a"), note("a"), note("b")])
    apart = shared([note("a"), note("a", who=("seen", "LS")), note("b")])
    assert twice == pytest.approx(apart, abs=0.02)
    assert sum(twice.values()) == pytest.approx(3)


def test_an_outcome_of_a_trial_is_no_jack_of_its_own() -> None:
    optical = Jack(Form.TOSLINK, "", Direction.OUTPUT, Signal.OPTICAL)
    two = (Finding(optical, outcome=Outcome.SILENT), Finding(optical, outcome=Outcome.CARRIED))
    visit = Visit(Source("N", "X"), date(2026, 3, 1), Basis.SEEN, two)
    assert list(findings_by_output(visit)) == [OPTICAL]


# -- a small book ----------------------------------------------------------------------------------


def seen_at(model: str, *findings: Finding, day: int = 1, year: int = 2013) -> Visit:
    return Visit(Source("Norwell", model, year=year), date(2026, 3, day), Basis.SEEN, findings)


def outcome(output: Output, result: Outcome, **more: object) -> Finding:
    jack = Jack(output.form, "", Direction.OUTPUT, output.signal)
    return Finding(jack, outcome=result, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def book() -> Evidence:
    """Three sets of one family with an optical output, and one of another with a line output."""
    visits = [
        seen_at("NV40-210", outcome(OPTICAL, Outcome.CARRIED, speakers=Speakers.STAY_ON)),
        seen_at("NV40-215", outcome(OPTICAL, Outcome.CARRIED), outcome(ARC, Outcome.NOT_TRIED)),
        seen_at("NV32-218", outcome(OPTICAL, Outcome.SILENT, speakers=Speakers.MUTE)),
        seen_at("LX50-900", outcome(LINE, Outcome.CARRIED, taken=True), outcome(ARC, Outcome.NOT_TRIED)),
    ]
    return Evidence.learn(visits, today=date(2026, 3, 4))


def test_a_set_of_which_only_the_make_is_known_is_a_mixture_of_the_families_of_its_make(
    book: Evidence,
) -> None:
    make = Source("Norwell", "", year=2013)
    path = book.path(make)
    mix = FamilyMix(book._sets, book._families).of("NORWELL", Place(Kind.TELEVISION, "2010", "flat"))
    assert max(mix)[1][-1] == ("family", "NORWELL/NV#2")
    new = 1 - sum(p for p, _ in mix)
    expected = book.expect(make)
    listed = {one.outputs: one.p for one in expected.shapes}
    for outputs in ((OPTICAL,), (LINE, ARC), ()):
        symbol = shape_of(outputs)
        mixed = new * book.shapes.p(path, symbol) + sum(
            p * book.shapes.p(family, symbol) for p, family in mix
        )
        assert listed[tuple(sorted(outputs, key=lambda one: one.symbol))] == pytest.approx(mixed)
    effects = book.effects(make, OPTICAL)
    assert sum(effects.values()) == pytest.approx(1)
    marked = [
        [(level, f"toslink:optical>{key}") for level, key in family]
        for family in (path, *(one for _, one in mix))
    ]
    shares = (new, *(p for p, _ in mix))
    mutes = sum(p * book.speakers.p(family, "mute") for p, family in zip(shares, marked, strict=True))
    assert effects[Speakers.MUTE] == pytest.approx(mutes)
    assert sum(level.share for level in expected.levels) + expected.prior_share == pytest.approx(1)
    own = sum(
        p * book.shapes.shares(family)["prior"]
        for p, family in zip(shares, (path, *(f for _, f in mix)), strict=True)
    )
    assert expected.prior_share == pytest.approx(own)


def test_groups_are_told_with_their_visits_and_sets(book: Evidence) -> None:
    levels = {one.level: (one.visits, one.sets) for one in book.expect(Source("Norwell", "NV40-210")).levels}
    assert levels == {
        "set": (1, 1),
        "family": (3, 3),
        "make-era": (4, 4),
        "era-display": (4, 4),
        "kind": (4, 4),
        "all": (4, 4),
    }
    assert book.visits == 4
    (unmet, *_) = book.expect(Source("Norwell", "NV40-999")).levels
    assert (unmet.level, unmet.visits, unmet.sets) == ("set", 0, 0)
    assert book.knows(Source("Norwell", "nv40 210"))
    assert not book.knows(Source("Norwell", "NV40-999"))
    filled = book.filled(Source("Norwell", "NV40-210"))
    assert (filled.year, filled.display, filled.kind) == (2013, Display.FLAT, Kind.TELEVISION)
    assert book.filled(Source("Norwell", "NV40-210", year=2011)).year == 2011
    assert book.filled(Source("Norwell", "NV40-999")) == Source("Norwell", "NV40-999")


def test_a_visit_that_says_nothing_of_any_jack_is_not_counted() -> None:
    bare = Visit(Source("Norwell", "NV40-210", year=2013), date(2026, 3, 1), Basis.SEEN, ())
    book = Evidence.learn([bare], today=date(2026, 3, 2), strengths={})
    assert book.visits == 0
    assert {(one.visits, one.sets) for one in book.expect(bare.source).levels} == {(0, 0)}


def test_trials_of_a_panel_from_elsewhere_are_weighed_against_what_the_book_expects(book: Evidence) -> None:
    other = Source("Norwell", "NV40-219", year=2013)
    expected = book.chance(other, OPTICAL)
    jack = PanelJack(
        Jack(Form.TOSLINK, "", Direction.OUTPUT, Signal.OPTICAL),
        outcomes=((Outcome.NOT_TRIED, 5), (Outcome.CARRIED, 2), (Outcome.SILENT, 1)),
    )
    found = book.chance(other, jack)
    strength = book.works.strengths["set"]
    assert found.p == pytest.approx((expected.p * strength + 2) / (strength + 3))
    assert (found.findings, expected.findings) == (3, 0)
    assert found.high - found.low < expected.high - expected.low
    known = book.chance(Source("Norwell", "NV40-210"), OPTICAL)
    assert known.findings == 1
    assert known.p > expected.p > book.chance(Source("Norwell", "NV32-218"), OPTICAL).p
    with pytest.raises(ValueError, match="only a usable output"):
        book.chance(other, PanelJack(Jack(Form.TOSLINK)))


def test_an_interval_of_a_chance_is_that_of_a_beta_with_the_trials_behind_it(book: Evidence) -> None:
    """The middle nine tenths; the variances of the groups add up as the docstring says."""
    source = Source("Norwell", "NV40-210")
    found = book.chance(source, OPTICAL)
    known = {level: f"optical>{key}" for level, key in book.path(source)}
    keys = {"signal": "optical", **known, "set": "toslink:optical>NORWELL/NV40210"}
    spread = 0.0
    for level in book.works.levels:
        n = sum(book.works.seen[level].get(keys.get(level, ""), {}).values())
        s = book.works.strengths[level]
        here = 1 / (n + s + 1)
        if level == "way":
            n, here = 1.0, 1 / (1.0 + s + 1)
        spread = here + (s / (n + s)) ** 2 * spread * (1 - here)
    total = 0.7 * (1 / spread - 1)
    low, high = (special.betaincinv(found.p * total, (1 - found.p) * total, q) for q in (0.05, 0.95))
    assert (found.low, found.high) == pytest.approx((low, max(high, found.p)), abs=0.02)


def test_what_is_in_use_is_told_for_none_and_for_each_output_alone_and_in_pairs(book: Evidence) -> None:
    make = Source("Norwell", "", year=2013)
    assert book.uses(make, []) == {frozenset(): 1.0}
    for outputs in ((LINE,), (LINE, OPTICAL), (LINE, OPTICAL, ARC)):
        signals = [one.signal for one in outputs]
        uses = book.uses(make, outputs)
        assert len(uses) == 1 + len(signals) + math.comb(len(signals), 2)
        assert sum(uses.values()) == pytest.approx(1)
    assert book.uses(make, [LINE])[frozenset({Signal.ANALOG_LINE})] > 0.2


def test_kept_counts_answer_as_the_learned_ones_do(book: Evidence) -> None:
    kept = Evidence.from_dict(book.to_dict())
    for model in ("NV40-210", "NV40-219", "LX50-900", ""):
        source = Source("Norwell", model, year=2013)
        assert kept.expect(source) == book.expect(source)
    later = Evidence.from_dict({**book.to_dict(), "works": lambda: book.works.to_dict()})
    assert later.chance(Source("Norwell", "NV40-210"), OPTICAL) == book.chance(
        Source("Norwell", "NV40-210"), OPTICAL
    )
    for wrong, said in [
        ({"version": 3}, "another version"),
        ({"tally": 3, "tried": None, "sets": 3}, "spoilt"),
    ]:
        with pytest.raises(BookTrouble, match=said):
            Evidence.from_dict({**book.to_dict(), **wrong})


def test_an_output_that_only_failed_may_be_dead_and_one_success_clears_it() -> None:
    def dead(*results: Outcome) -> dict[Output, float]:
        visits = [seen_at("NV40-210", outcome(OPTICAL, one), day=day) for day, one in enumerate(results, 1)]
        return (
            Evidence.learn(visits, today=date(2026, 3, 20))
            .expect(Source("Norwell", "NV40-210", year=2013))
            .dead
        )

    once, twice = dead(Outcome.SILENT)[OPTICAL], dead(Outcome.SILENT, Outcome.SILENT)[OPTICAL]
    assert 0 < once < twice < 1
    assert dead(Outcome.SILENT, Outcome.CARRIED) == dead(Outcome.NOT_TRIED) == {}
