"""What the book expects of a set, and how sure it is."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from datetime import date
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kb.base.errors import BookTrouble
from kb.domain.jack import Jack
from kb.domain.panel import PanelJack
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import Basis, Direction, Display, DriverInput, Form, Kind, Outcome, Signal, Speakers
from kb.evidence import Evidence, Output, standard_prior
from kb.evidence import groups as levels
from kb.evidence.groups import FamilyMix, GroupFacts, family_of
from kb.evidence.signature import is_partial, shape_of, taken_of

TODAY = date(2026, 3, 4)
OPTICAL = Output(Form.TOSLINK, Signal.OPTICAL)
LINE = Output(Form.RCA_PAIR, Signal.ANALOG_LINE)
HEADPHONE = Output(Form.JACK_35, Signal.HEADPHONE)
ARC = Output(Form.HDMI, Signal.ARC)
INPUT = Finding(Jack(Form.HDMI, "HDMI 1", Direction.INPUT))


def finding(output, outcome=Outcome.NOT_TRIED, speakers=Speakers.UNKNOWN, taken=None, into=None):
    jack = Jack(output.form, "", Direction.OUTPUT, output.signal)
    return Finding(jack, speakers, taken, outcome, input=into)


def visit(make, model, *findings, year=2013, basis=Basis.SEEN, day=TODAY, **more):
    found = tuple(f if isinstance(f, Finding) else finding(f) for f in findings)
    return Visit(Source(make, model, year=year), day, basis, (*found, INPUT), **more)


def learn(*visits, **more):
    return Evidence.learn(visits, today=TODAY, **more)


def p_shape(evidence, source, outputs):
    """The chance of a panel with exactly these outputs."""
    return sum(one.p for one in evidence.expect(source).shapes if set(one.outputs) == set(outputs))


def set_of_family(number, *outputs, make="Norwell"):
    return visit(make, f"NV{20 + number}-21{number % 10}", *outputs)


def test_an_empty_book_answers_with_common_practice():
    expected = learn().expect(Source("Norwell", "NV40-210", year=2013))
    assert expected.prior_share == pytest.approx(1)
    assert expected.shapes[0].outputs == (OPTICAL,)
    assert all(level.visits == 0 for level in expected.levels)


def test_nothing_known_at_all_is_an_answer_too():
    expected = learn().expect(Source("", ""))
    assert expected.has(Signal.OPTICAL) > 0.4
    assert 0 < expected.other < 0.1


def test_a_set_that_was_seen_is_believed_over_its_neighbours():
    neighbours = [set_of_family(n, OPTICAL) for n in range(8)]
    seen = [visit("Norwell", "NV40-250", LINE, HEADPHONE, day=date(2025, n, 1)) for n in (1, 2, 3)]
    expected = learn(*neighbours, *seen).expect(Source("Norwell", "NV40-250"))
    assert expected.shapes[0].outputs == (HEADPHONE, LINE)
    assert expected.shapes[0].p > 0.6


def test_a_sister_set_nobody_saw_is_expected_to_look_like_its_family():
    family = [set_of_family(n, ARC) for n in range(6)]
    others = [visit("Hallmere", f"HM{30 + n}-5{n}", OPTICAL) for n in range(6)]
    expected = learn(*family, *others).expect(Source("Norwell", "NV55-219"))
    assert expected.shapes[0].outputs == (ARC,)
    assert expected.shapes[0].p > 0.6


def test_outputs_stay_together():
    """Half of the sets have both, half neither: one alone is all but never there."""
    both = [visit(f"Make{n}", f"AA{n}", OPTICAL, LINE) for n in "abcdefghij"]
    none = [visit(f"Make{n}", f"AA{n}") for n in "klmnopqrst"]
    expected = learn(*both, *none).expect(Source("Other", "", year=2013))
    alone = sum(one.p for one in expected.shapes if set(one.outputs) in ({OPTICAL}, {LINE}))
    together = sum(one.p for one in expected.shapes if {OPTICAL, LINE} <= set(one.outputs))
    assert together > 1.5 * alone


def test_ten_visits_to_one_set_tell_less_of_its_make_than_visits_to_ten_sets():
    often = [visit("Norwell", "AB1", ARC, day=date(2025, 1, n)) for n in range(1, 11)]
    many = [visit("Norwell", name, ARC) for name in "BC1 CD1 DE1 EF1 FG1 GH1 HI1 IJ1 JK1 KL1".split()]
    fixed = Evidence.learn([], today=TODAY).strengths()
    asked = Source("Norwell", "", year=2013)
    by_often = p_shape(learn(*often, strengths=fixed), asked, [ARC])
    by_many = p_shape(learn(*many, strengths=fixed), asked, [ARC])
    assert by_many > by_often + 0.2


def test_sets_of_other_years_tell_less():
    old = [visit("Norwell", f"{a}A1", LINE, year=2003) for a in "BCDEFGH"]
    new = [visit("Norwell", f"{a}B1", ARC, year=2017) for a in "BCDEFGH"]
    evidence = learn(*old, *new)
    assert p_shape(evidence, Source("Norwell", "", year=2018), [ARC]) > 0.4
    assert p_shape(evidence, Source("Norwell", "", year=2002), [LINE]) > 0.4
    unknown = evidence.expect(Source("Norwell", ""))
    assert {one.outputs for one in unknown.shapes[:2]} == {(LINE,), (ARC,)}


def test_a_tested_word_weighs_more_than_hearsay_and_fresh_more_than_old():
    asked = Source("Norwell", "NV40-210")
    tested = visit("Norwell", "NV40-210", OPTICAL, LINE, basis=Basis.TESTED)
    told = visit("Norwell", "NV40-210", ARC, basis=Basis.TOLD)
    assert learn(tested, told).expect(asked).shapes[0].outputs == (LINE, OPTICAL)
    old = visit("Norwell", "NV40-210", ARC, day=date(1996, 1, 1))
    fresh = visit("Norwell", "NV40-210", OPTICAL, LINE)
    assert learn(old, fresh).expect(asked).shapes[0].outputs == (LINE, OPTICAL)


def test_somebody_who_names_one_jack_does_not_deny_the_others():
    whole = visit("Norwell", "NV40-210", OPTICAL, HEADPHONE)
    told = [visit("Norwell", "NV40-210", OPTICAL, basis=Basis.TOLD, day=date(2025, 1, n)) for n in (1, 2, 3)]
    expected = learn(whole, *told).expect(Source("Norwell", "NV40-210"))
    assert expected.shapes[0].outputs == (HEADPHONE, OPTICAL)


def test_a_panel_that_was_looked_at_and_has_no_output_is_a_panel_without_outputs():
    asked = Source("Norwell", "NV40-210", year=2013)
    looked = [visit("Norwell", "NV40-210", day=date(2025, 1, n)) for n in (1, 2, 3)]
    assert learn(*looked).expect(asked).shapes[0].outputs == ()
    heard = [visit("Norwell", "NV40-210", basis=Basis.TOLD, day=date(2025, 1, n)) for n in (1, 2, 3)]
    assert p_shape(learn(*heard), asked, []) == p_shape(learn(), asked, []), "hearsay lists no whole panel"


def test_a_superseded_visit_does_not_count():
    wrong = visit("Norwell", "NV40-210", ARC, id="00000000-0000-4000-8000-000000000001")
    right = visit("Norwell", "NV40-210", OPTICAL, supersedes=(wrong.id,))
    evidence = learn(wrong, right)
    assert evidence.visits == 1
    assert evidence.expect(Source("Norwell", "NV40-210")).shapes[0].outputs == (OPTICAL,)


def test_what_silences_the_speakers_is_learned_by_family_and_not_by_silence():
    mutes = [set_of_family(n, finding(HEADPHONE, speakers=Speakers.MUTE)) for n in range(5)]
    unsaid = [set_of_family(n, finding(HEADPHONE)) for n in range(5, 9)]
    asked = Source("Norwell", "NV55-219")
    known = learn(*mutes).effects(asked, HEADPHONE)
    assert known[Speakers.MUTE] > 0.8
    assert learn(*mutes, *unsaid).effects(asked, HEADPHONE)[Speakers.MUTE] == pytest.approx(
        known[Speakers.MUTE], abs=0.02
    )


def test_a_taken_output_is_a_matter_of_the_home():
    taken = [visit(f"Make{n}", f"AA{n}", finding(OPTICAL, taken=True)) for n in "abcdefghijkl"]
    evidence = learn(*taken)
    for make in ("Makea", "Nowhere"):
        uses = evidence.uses(Source(make, "AAa", year=2013), [OPTICAL])
        assert uses[frozenset({Signal.OPTICAL})] > 0.6
        assert sum(uses.values()) == pytest.approx(1)


def test_an_output_that_was_tried_and_not_called_taken_was_free():
    tried = [visit(f"Make{n}", f"AA{n}", finding(OPTICAL, Outcome.CARRIED)) for n in "abcdefghijkl"]
    before = learn().uses(Source("", ""), [OPTICAL])[frozenset({Signal.OPTICAL})]
    assert learn(*tried).uses(Source("", ""), [OPTICAL])[frozenset({Signal.OPTICAL})] < before / 2


def test_the_chance_of_a_jack_follows_its_own_trials_first():
    worked = [
        visit("Norwell", "NV40-210", finding(OPTICAL, Outcome.CARRIED), day=date(2025, 1, n)) for n in (1, 2)
    ]
    failed = [
        visit("Norwell", "NV42-250", finding(OPTICAL, Outcome.SILENT), day=date(2025, 2, n)) for n in (1, 2)
    ]
    evidence = learn(*worked, *failed)
    good = evidence.chance(Source("Norwell", "NV40-210"), OPTICAL)
    bad = evidence.chance(Source("Norwell", "NV42-250"), OPTICAL)
    unknown = evidence.chance(Source("Other", "XY1"), OPTICAL)
    assert bad.p < unknown.p < good.p
    assert (good.findings, bad.findings, unknown.findings) == (2, 2, 0)
    assert good.low < good.p < good.high


def test_more_findings_make_the_interval_narrower():
    def width(times):
        visits = [
            visit("Norwell", "NV40-210", finding(OPTICAL, Outcome.CARRIED), day=date(2025, 1, 1 + n))
            for n in range(times)
        ]
        chance = learn(*visits).chance(Source("Norwell", "NV40-210"), OPTICAL)
        return chance.high - chance.low

    assert width(20) < width(5) < width(0)


def test_a_driver_input_that_worked_says_so_for_itself():
    visits = [
        visit("Norwell", "NV40-210", finding(OPTICAL, outcome, into=into), day=date(2025, 1, n))
        for n in range(1, 9)
        for outcome, into in (
            (Outcome.CARRIED, DriverInput.OPTICAL),
            (Outcome.DISTORTED, DriverInput.LINE_35),
        )
    ]
    evidence = learn(*visits)
    asked = Source("Norwell", "NV40-210")
    direct = evidence.chance(asked, OPTICAL, DriverInput.OPTICAL).p
    through = evidence.chance(asked, OPTICAL, DriverInput.LINE_35).p
    assert through < evidence.chance(asked, OPTICAL).p < direct


def test_a_panel_that_is_not_in_the_book_brings_its_own_trials():
    jack = Jack(Form.TOSLINK, "", Direction.OUTPUT, Signal.OPTICAL)
    evidence = learn()
    fresh = evidence.chance(Source("A", "B1"), PanelJack(jack))
    failed = evidence.chance(Source("A", "B1"), PanelJack(jack, outcomes=((Outcome.SILENT, 3),)))
    assert failed.p < fresh.p
    assert failed.findings == 3
    with pytest.raises(ValueError, match="output"):
        evidence.chance(Source("A", "B1"), PanelJack(Jack(Form.HDMI, "HDMI 1", Direction.INPUT)))


def test_the_book_fills_in_the_year_that_a_caller_does_not_know():
    evidence = learn(visit("Norwell", "NV40-210", OPTICAL, year=2013))
    assert evidence.filled(Source("norwell", "nv 40/210")).year == 2013
    assert dict(evidence.path(Source("norwell", "nv 40/210")))["era-display"] == "television|2010|flat"


MODELS = st.sampled_from(["NV40-210", "NV46-212", "NV40-310", "HM1"])
JACKS = st.builds(
    finding,
    st.sampled_from([OPTICAL, LINE, HEADPHONE, ARC]),
    st.sampled_from(list(Outcome)),
    st.sampled_from(list(Speakers)),
    st.sampled_from([None, True, False]),
    st.sampled_from([None, DriverInput.LINE_35, DriverInput.OPTICAL]),
)
VISITS = st.lists(
    st.builds(
        lambda make, model, found, year, basis, day: visit(
            make, model, *found, year=year, basis=basis, day=day
        ),
        st.sampled_from(["Norwell", "Hallmere"]),
        MODELS,
        st.lists(JACKS, max_size=4),
        st.sampled_from([None, 1991, 2008, 2013, 2019]),
        st.sampled_from(list(Basis)),
        st.dates(date(2005, 1, 1), TODAY),
    ),
    max_size=12,
)
ASKED = st.builds(
    Source,
    st.sampled_from(["Norwell", "Hallmere", "Nowhere", ""]),
    st.one_of(st.just(""), MODELS),
    st.sampled_from([Kind.TELEVISION, Kind.SET_TOP_BOX]),
    st.sampled_from([None, Display.FLAT, Display.TUBE]),
    st.sampled_from([None, 1980, 2013]),
)


@settings(max_examples=20)
@given(VISITS, ASKED)
def test_chances_always_sum_to_one(visits, source):
    expected = learn(*visits).expect(source)
    assert sum(one.p for one in expected.shapes) + expected.other == pytest.approx(1)
    assert all(0 < one.p <= 1 for one in expected.shapes)
    assert sum(level.share for level in expected.levels) + expected.prior_share == pytest.approx(1)
    for outputs, uses in expected.taken.items():
        assert sum(uses.values()) == pytest.approx(1)
        assert all(used <= {o.signal for o in outputs} for used in uses)
    for output, effects in expected.speakers.items():
        assert sum(effects.values()) == pytest.approx(1)
        chance = expected.works[output]
        assert 0 <= chance.low <= chance.p <= chance.high <= 1


@settings(max_examples=20)
@given(VISITS, ASKED, st.randoms())
def test_the_order_of_visits_makes_no_difference(visits, source, shuffled):
    other = list(visits)
    shuffled.shuffle(other)
    one, two = learn(*visits).expect(source), learn(*other).expect(source)
    for a, b in zip(one.shapes[:5], two.shapes[:5], strict=True):
        assert a.p == pytest.approx(b.p, rel=1e-6)


@settings(max_examples=20)
@given(VISITS, ASKED)
def test_kept_evidence_gives_the_same_answers(visits, source):
    evidence = learn(*visits)
    again = Evidence.from_dict(json.loads(json.dumps(evidence.to_dict())))
    assert again.expect(source) == evidence.expect(source)
    assert again.chance(source, OPTICAL) == evidence.chance(source, OPTICAL)


@pytest.mark.parametrize(
    "spoilt", [{}, {"version": 0}, {"version": 1}, {"version": 1, "visits": 2, "sets": []}]
)
def test_spoilt_evidence_is_refused(spoilt):
    with pytest.raises(BookTrouble, match="again"):
        Evidence.from_dict(spoilt)


def test_strengths_are_small_where_families_are_of_a_piece_and_great_where_they_are_mixed():
    panels = [(OPTICAL,), (LINE,), (HEADPHONE,), (ARC,)]
    draw = random.Random(5)
    alike, mixed = [], []
    for number in range(25):
        own = draw.choice(panels)
        for size in range(4):
            name = f"{chr(65 + number // 26)}{chr(65 + number % 26)}{30 + size}-2{size}"
            alike.append(visit("Norwell", name, *own))
            mixed.append(visit("Norwell", name, *draw.choice(panels)))
    assert learn(*alike).shapes.strengths["family"] < learn(*mixed).shapes.strengths["family"] / 5


def test_a_family_that_differs_in_one_odd_jack_is_known_by_the_others():
    """Seven sisters have an optical output, each with another companion: the eighth has it too."""
    odd = [(), (LINE,), (HEADPHONE,), (ARC,), (LINE, HEADPHONE), (ARC, HEADPHONE), (LINE, ARC)]
    sisters = [set_of_family(n, OPTICAL, *more) for n, more in enumerate(odd)]
    expected = learn(*sisters).expect(Source("Norwell", "NV55-219"))
    assert expected.has(Signal.OPTICAL) > 0.85


def test_the_room_for_panels_never_seen_is_a_chance_of_all_of_them():
    prior = standard_prior()
    likely = sorted(prior._output_rates().items(), key=lambda one: -one[1])[:8]
    names = [symbol for symbol, _ in likely]
    total = sum(
        prior.any_shape("", " ".join(sorted(some)) or "none")
        for n in range(9)
        for some in combinations(names, n)
    )
    rest = 1.0
    for symbol, rate in prior._output_rates().items():
        rest *= 1 if symbol in names else 1 - rate
    assert total == pytest.approx(rest)


def test_families_fold_size_and_last_digits_only():
    assert family_of(Source("Norwell", "NV40-210")) == family_of(Source("norwell", "nv55-214"))
    assert family_of(Source("Norwell", "NV40-210")) != family_of(Source("Norwell", "NV40-310"))
    assert family_of(Source("Norwell", "NV40-210")) != family_of(Source("Hallmere", "NV40-210"))
    assert family_of(Source("Norwell", "")) == ""
    # 7 or 99 inches is no size that is sold: such a number is the series
    assert family_of(Source("Norwell", "NV99-210")) != family_of(Source("Norwell", "NV40-210"))
    assert family_of(Source("Norwell", "NV07-210")) != family_of(Source("Norwell", "NV40-210"))
    assert family_of(Source("Norwell", "²²-①")) != ""


def test_shapes_do_not_depend_on_the_order_of_jacks():
    assert shape_of([OPTICAL, LINE]) == shape_of([LINE, OPTICAL, LINE])


def test_asking_costs_no_heavy_import():
    code = (
        "import sys, kb.evidence, kb.pack;"
        "print([m for m in ('numpy','scipy','sqlalchemy','rich','click','whoosh') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_make_of_a_few_families_met_often_is_known_by_these_families():
    """A new set of the make is of one of its series, mostly: nobody has met another."""
    seen = [set_of_family(number, OPTICAL, LINE, make="Quillmere") for number in range(8)]
    others = [visit(make, f"X{n}Z", HEADPHONE) for n, make in enumerate("Ab Bc Cd De Ef Fg Gh Hi".split())]
    evidence = learn(*seen, *others)
    asked = Source("Quillmere", "", year=2013)
    one_more = Source("Quillmere", "NV60-219", year=2013)
    by_make, by_family = (evidence.expect(source).has(Signal.OPTICAL) for source in (asked, one_more))
    assert by_family > by_make > 0.6
    assert sum(level.share for level in evidence.expect(asked).levels) <= 1 + 1e-9


# -- where a set stands ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("year", "display"),
    [(1997, "tube"), (1998, levels.ANY), (2009, levels.ANY), (2010, "flat"), (None, levels.ANY)],
)
def test_a_television_nobody_saw_is_a_tube_before_1998_and_flat_from_2010(
    year: int | None, display: str
) -> None:
    """Between them both were sold (common practice); what somebody noted stands above its year."""
    assert levels.display_of(Source("Norwell", "X1", year=year)) == display
    assert levels.display_of(Source("Norwell", "X1", year=year, display=Display.PROJECTOR)) == "projector"
    assert levels.display_of(Source("Norwell", "X1", kind=Kind.RECEIVER, year=year)) == levels.ANY


@pytest.mark.parametrize(
    ("year", "era"), [(1987, "early"), (1988, "1988"), (2009, "2005"), (2010, "2010"), (2026, "2020")]
)
def test_an_era_begins_with_its_first_year(year: int, era: str) -> None:
    assert levels.era_of(year) == era


# -- what a visit says -----------------------------------------------------------------------------


def test_of_a_failure_and_a_success_the_fresher_counts_more():
    """Sets change with updates, and cables and caps are forgotten: old word fades (half-life in the file)."""

    def chance(old, new):
        tried = [
            visit("Norwell", "NV40-210", finding(OPTICAL, old), basis=Basis.TESTED, day=date(2014, 3, 4)),
            visit("Norwell", "NV40-210", finding(OPTICAL, new), basis=Basis.TESTED),
        ]
        return learn(*tried, strengths={}).chance(Source("Norwell", "NV40-210"), OPTICAL).p

    assert chance(Outcome.SILENT, Outcome.CARRIED) > chance(Outcome.CARRIED, Outcome.SILENT) + 0.1


def test_of_a_failure_and_a_success_the_one_that_was_tested_counts_more_than_hearsay():
    def chance(tested, told):
        tried = [
            visit("Norwell", "NV40-210", finding(OPTICAL, tested), basis=Basis.TESTED),
            visit("Norwell", "NV40-210", finding(OPTICAL, told), basis=Basis.TOLD),
        ]
        return learn(*tried, strengths={}).chance(Source("Norwell", "NV40-210"), OPTICAL).p

    assert chance(Outcome.CARRIED, Outcome.SILENT) > chance(Outcome.SILENT, Outcome.CARRIED) + 0.05


def test_hum_is_half_a_success_and_half_a_failure():
    """It carries sound, and wants an isolator: ten times hum is no proof that a jack works."""

    def chance(outcome):
        tried = [
            visit("Norwell", "NV40-210", finding(LINE, outcome), basis=Basis.TESTED, day=date(2026, 1, n))
            for n in range(1, 11)
        ]
        return learn(*tried, strengths={}).chance(Source("Norwell", "NV40-210"), LINE).p

    assert chance(Outcome.SILENT) + 0.2 < chance(Outcome.HUM) < chance(Outcome.CARRIED) - 0.2
    assert chance(Outcome.HUM) == pytest.approx(0.55, abs=0.1)


def jacks_of_a_region(draw, of_families, of_sets, trials):
    """Visits to sets whose optical jacks work as often as a beta distribution in a beta distribution says."""
    visits, truth = [], {}
    for make in "ABC":
        for family in "DEFGHIJK":
            p = draw.betavariate(0.85 * of_families, 0.15 * of_families)
            for size in range(30, 38):
                works = draw.betavariate(max(1e-3, p * of_sets), max(1e-3, (1 - p) * of_sets))
                model = f"{family}V{size}-21{size}"
                count = draw.choice(trials)
                truth[Source(make, model, year=2013)] = (works, count)
                for _ in range(count):
                    came = Outcome.CARRIED if draw.random() < works else Outcome.SILENT
                    visits.append(visit(make, model, finding(OPTICAL, came), basis=Basis.TESTED))
    return visits, truth


@pytest.mark.parametrize(
    ("of_families", "of_sets", "trials"),
    [
        (20, 1e6, (0, 1, 2, 5)),  # all alike
        (20, 3, (0, 1, 2, 5)),  # sets differ
        (5, 1.5, (0, 1, 3)),  # sets differ much
        (2, 20, (0, 1, 2)),  # families differ
        (10, 4, (0, 5, 10)),  # many trials
    ],
)
def test_the_interval_of_a_chance_holds_the_truth_nine_times_in_ten(of_families, of_sets, trials):
    """Simulated books in which the truth is known: of 192 jacks a book, two books a case."""
    held = {True: [0, 0], False: [0, 0]}
    for seed in (1, 8):
        visits, truth = jacks_of_a_region(random.Random(seed), of_families, of_sets, trials)
        evidence = learn(*visits)
        for source, (works, count) in truth.items():
            chance = evidence.chance(source, OPTICAL)
            held[count > 0][0] += chance.low - 1e-9 <= works <= chance.high + 1e-9
            held[count > 0][1] += 1
    assert all(inside / every > 0.84 for inside, every in held.values()), held


def test_a_set_is_of_the_year_and_kind_that_most_visits_say():
    said = [visit("Norwell", "NV40-210", OPTICAL, year=year) for year in (2013, 2013, 2003)]
    filled = learn(*said).filled(Source("norwell", "nv40 210"))
    assert (filled.year, filled.display) == (2013, Display.FLAT)


def test_headphone_jacks_noted_as_line_outputs_do_not_make_the_line_pair_silence_the_speakers():
    small = Output(Form.JACK_35, Signal.ANALOG_LINE)
    pairs = [set_of_family(n, finding(LINE, speakers=Speakers.STAY_ON)) for n in range(8)]
    wrong = [
        visit("Hallmere", f"HM{n}-7", finding(small, speakers=Speakers.MUTE), finding(LINE)) for n in range(6)
    ]
    book = learn(*pairs, *wrong)
    for source in (Source("Hallmere", "HM9-7", year=2013), Source("Hallmere", "", year=2013)):
        assert book.effects(source, small)[Speakers.MUTE] > 0.5
        assert book.effects(source, LINE)[Speakers.STAY_ON] > 0.9


def test_one_visit_that_saw_two_jacks_alike_do_two_things_to_the_speakers_is_one_visit():
    two = visit(
        "Norwell", "NV40-210", finding(LINE, speakers=Speakers.MUTE), finding(LINE, speakers=Speakers.STAY_ON)
    )
    one = visit("Norwell", "NV40-210", finding(LINE, speakers=Speakers.MUTE))
    asked = Source("Norwell", "NV40-210")
    both, mute = (learn(said, strengths={}).effects(asked, LINE) for said in (two, one))
    # As much is left to what nobody saw.
    assert both[Speakers.MUTE_UNLESS_SET] == pytest.approx(mute[Speakers.MUTE_UNLESS_SET])
    assert both[Speakers.MUTE] < mute[Speakers.MUTE]


def test_who_lists_only_jacks_that_were_tried_does_not_deny_the_others():
    asked = Source("Norwell", "NV40-210", year=2013)
    whole = visit("Norwell", "NV40-210", OPTICAL, LINE, day=date(2025, 1, 1))
    source = Source("Norwell", "NV40-210", year=2013)
    tried = Visit(source, TODAY, Basis.TESTED, (finding(OPTICAL, Outcome.CARRIED),))
    denied = Visit(source, TODAY, Basis.TESTED, (finding(OPTICAL, Outcome.CARRIED), INPUT))
    assert is_partial(tried)
    assert not is_partial(denied)
    not_denied, doubted = (p_shape(learn(whole, one), asked, [OPTICAL, LINE]) for one in (tried, denied))
    assert not_denied > 0.6
    assert not_denied > doubted + 0.1


@pytest.mark.parametrize(
    ("findings", "said"),
    [
        ([(True, Outcome.NOT_TRIED), (False, Outcome.NOT_TRIED)], True),  # one of two jacks alike
        ([(False, Outcome.NOT_TRIED), (True, Outcome.NOT_TRIED)], True),
        ([(None, Outcome.CARRIED)], False),  # what was tried was free
        ([(True, Outcome.CARRIED), (None, Outcome.SILENT)], True),
        ([(None, Outcome.NOT_TRIED)], None),  # nobody looked
    ],
)
def test_an_output_is_in_use_where_any_jack_of_its_kind_is(findings, said):
    assert taken_of(finding(OPTICAL, outcome, taken=taken) for taken, outcome in findings) is said


def test_the_interval_of_a_chance_holds_nine_in_ten_of_its_beta_distribution():
    """2000 trials outweigh whatever was believed before: the interval is that of scipy's distribution."""
    jack = Jack(OPTICAL.form, "", Direction.OUTPUT, OPTICAL.signal)
    panel = PanelJack(jack, outcomes=((Outcome.CARRIED, 1500), (Outcome.SILENT, 500)))
    chance = learn().chance(Source("Norwell", "NV40-210"), panel)
    low, high = stats.beta.interval(0.90, 1500, 500)
    assert (chance.low, chance.high) == pytest.approx((low, high), abs=0.001)


def test_the_next_set_of_a_make_of_one_family_is_of_that_family_but_for_a_new_one():
    """A Chinese restaurant: n sets of n plus the concentration, small where many sets are of one family."""
    group = GroupFacts(Kind.TELEVISION, "2012", "flat", 2013, "norwell/nv")
    asked = levels.place_of(Source("Norwell", ""))
    shares = []
    for count in (4, 400):
        mix = FamilyMix({f"norwell/nv{n}": group for n in range(count)}, {"norwell/nv": group})
        [(share, _)] = mix.of("norwell", asked)
        assert share == pytest.approx(count / (count + mix.fresh))
        shares.append(share)
    assert shares[0] < shares[1]
    assert shares[1] > 0.99


def test_a_jack_that_one_of_nine_visits_does_not_mention_is_still_there():
    seen = [visit("Norwell", "NV40-210", OPTICAL, day=date(2025, 1, n)) for n in range(1, 9)]
    silent = visit("Norwell", "NV40-210", day=date(2025, 2, 1))
    expected = learn(*seen, silent).expect(Source("Norwell", "NV40-210"))
    assert expected.has(Signal.OPTICAL) > 0.95
    assert p_shape(learn(*seen, silent), Source("Norwell", "NV40-210"), []) < 0.01


def test_sets_of_which_half_have_another_panel_are_not_taken_for_forgetful_visits():
    """A headphone jack instead of the optical one is another board: nobody forgets one and invents one."""
    half = [
        visit("Norwell", f"NV4{m}-210", *(panel), day=date(2025, 1, 1 + n))
        for m in range(9)
        for n, panel in enumerate(((OPTICAL, LINE), (HEADPHONE,), (OPTICAL, LINE), (HEADPHONE,)))
    ]
    evidence = learn(*half)
    asked = Source("Norwell", "NV40-210")
    assert p_shape(evidence, asked, [HEADPHONE]) == pytest.approx(0.5, abs=0.1)
    assert max(evidence.forgetting.rates.values()) < 0.06


def test_who_forgets_jacks_is_learned_from_sets_with_several_visits():
    draw = random.Random(5)
    visits = []
    for m in range(60):
        for n, (who, rate) in enumerate((("AM", 0.0), ("AM", 0.0), ("LS", 0.3))):
            noted = [output for output in (OPTICAL, LINE, ARC) if draw.random() >= rate]
            day = date(2025, 1, 1 + n)
            visits.append(visit("Norwell", f"NV{20 + m}-2{m % 7}0", *noted, day=day, by=who))
    rates = learn(*visits).forgetting.rates
    assert rates["seen|LS"] == pytest.approx(0.3, abs=0.07)
    assert rates["seen|AM"] < 0.03


@pytest.mark.parametrize("by", ["", "LS"])
def test_what_was_learned_of_forgetting_is_kept_with_the_evidence(by):
    visits = [visit("Norwell", "NV40-210", OPTICAL, day=date(2025, 1, n), by=by) for n in (1, 2, 3)]
    evidence = learn(*visits, visit("Norwell", "NV40-210", day=date(2025, 1, 4), by=by))
    kept = Evidence.from_dict(json.loads(json.dumps(evidence.to_dict())))
    assert kept.forgetting.rates == evidence.forgetting.rates != {}


def test_an_empty_book_says_what_the_files_say():
    """The numbers of data/prior.toml and data/works.toml, read here by hand."""
    empty, asked = learn(), Source("Norwell", "", year=2012)
    bluetooth = Output(Form.BLUETOOTH, Signal.WIRELESS)
    assert empty.chance(asked, bluetooth).p == pytest.approx(0.6)
    assert empty.chance(asked, OPTICAL).p == pytest.approx(0.9)
    assert empty.effects(asked, OPTICAL)[Speakers.MUTE] == pytest.approx(0.02)
    assert empty.effects(asked, HEADPHONE)[Speakers.MUTE] == pytest.approx(0.65)
    assert empty.uses(asked, [OPTICAL])[frozenset({Signal.OPTICAL})] == pytest.approx(0.15)
    assert p_shape(empty, asked, [OPTICAL]) == pytest.approx(0.98 * 0.38, abs=0.005)
