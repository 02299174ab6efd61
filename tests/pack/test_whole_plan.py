"""Work out whole plans of small days by hand: what to carry, and what may go wrong or be asked."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations_with_replacement
from typing import Any

import pytest

from kb.domain.visit import Source
from kb.domain.words import Form, Signal, Speakers
from kb.evidence import Chance, Expectation, Likely, Output
from kb.pack import pack, packing, questions
from kb.pack.chances import Chances
from kb.pack.jobs import day_from
from kb.pack.plan_values import Next, Plan, Risk, Use, Useless
from kb.pack.tasks import Stock
from kb.pack.wording import to_json

LINE = Output(Form.RCA_PAIR, Signal.ANALOG_LINE)
OPTICAL = Output(Form.TOSLINK, Signal.OPTICAL)
ARC = Output(Form.HDMI, Signal.ARC)
PHONES = Output(Form.JACK_35, Signal.HEADPHONE)

CABLE, OPTICAL_CABLE, HDMI = "RCA pair to 3.5 mm cable 2 m", "optical cable 2 m", "HDMI cable 2 m"
DAC, EXTRACTOR = "DAC", "ARC extractor"
STAYS = {Speakers.STAY_ON: 1.0, Speakers.MUTE: 0.0, Speakers.MUTE_UNLESS_SET: 0.0}
WORKS = {LINE: 0.9, OPTICAL: 0.8, ARC: 0.6, PHONES: 0.9}


def expecting(shapes: dict[tuple[Output, ...], float], **more: Any) -> Expectation:
    facts = {
        "source": Source("Norwell", "N1"),
        "shapes": tuple(Likely(shape, p) for shape, p in shapes.items()),
        "other": 0.0,
        "speakers": dict.fromkeys(WORKS, STAYS),
        "works": {output: Chance(p, p, p, 0, 0.0) for output, p in WORKS.items()},
        "taken": {shape: {frozenset(): 1.0} for shape in shapes},
        "levels": (),
        "prior_share": 1.0,
    }
    return Expectation(**{**facts, **more})


#: Of eight sets four have a line output, two an optical one, one ARC, and one nothing.
MIXED = {(LINE,): 0.5, (OPTICAL,): 0.25, (ARC,): 0.125, (): 0.125}


def planned(target: float, *inputs: str, have: dict[str, int] | None = None, **more: Any) -> Plan:
    day = day_from({"jobs": [{"inputs": [one]} for one in inputs or ("line-3.5",)], "have": have or {}})
    return pack(day, lambda _: expecting(more.pop("shapes", MIXED), **more), target=target)


def carried(plan: Plan) -> dict[str, int]:
    return {line.item: line.count for line in plan.items}


NOTHING, ONLY_ARC, ONLY_OPTICAL = Risk(0.125, (), ()), Risk(0.125, (ARC,), None), Risk(0.25, (OPTICAL,), None)


@pytest.mark.parametrize(
    ("target", "items", "cost", "certainty", "works", "sockets", "risks"),
    [
        (0.5, [CABLE], 5, 0.5, 0.9, 1, (ONLY_OPTICAL, ONLY_ARC, NOTHING)),
        (0.75, [DAC, CABLE, OPTICAL_CABLE], 31, 0.75, (0.45 + 0.2) / 0.75, 2, (ONLY_ARC, NOTHING)),
        (0.95, [EXTRACTOR, DAC, HDMI, CABLE, OPTICAL_CABLE], 80, 0.875, 0.7175 / 0.875, 2, (NOTHING,)),
    ],
)
def test_a_surer_list_holds_the_items_of_one_more_kind_of_set(
    target: float,
    items: list[str],
    cost: float,
    certainty: float,
    works: float,
    sockets: int,
    risks: tuple[Risk, ...],
) -> None:
    """An ARC extractor works with 0.9, so ARC carries sound with 0.54: 0.45 + 0.2 + 0.0675 in all."""
    plan = planned(target)
    assert list(carried(plan)) == items
    assert set(carried(plan).values()) == {1}
    assert (plan.cost, plan.bound, plan.optimal, plan.exact) == (cost, cost, True, True)
    assert (plan.certainty, plan.reachable, plan.target) == (certainty, 0.875, target)
    [job] = plan.jobs
    assert (job.certainty, job.reachable, job.sockets, job.if_free) == (certainty, 0.875, sockets, None)
    assert job.works == pytest.approx(works)
    assert job.risks == risks


def test_the_next_thing_to_take_is_the_bundle_with_the_greatest_gain_an_item() -> None:
    some, more, every = (planned(target).next for target in (0.5, 0.75, 0.95))
    assert some is not None
    assert more is not None
    assert (some.items, some.gain) == ((DAC, OPTICAL_CABLE), 0.25)
    assert (more.items, more.gain) == ((EXTRACTOR, HDMI), 0.125)
    assert every is None, "nothing more helps"


def test_each_line_of_a_list_names_the_outputs_that_it_is_for() -> None:
    plan = planned(0.7, "line-3.5", "optical", have={DAC: 1, OPTICAL_CABLE: 5})
    uses = {line.item: dict(line.uses) for line in plan.items}
    assert uses == {
        "ADC": {2: (LINE,)},
        EXTRACTOR: {1: (ARC,), 2: (ARC,)},
        DAC: {1: (OPTICAL,)},
        HDMI: {1: (ARC,), 2: (ARC,)},
        "RCA pair cable 2 m": {2: (LINE,)},
        CABLE: {1: (ARC, LINE, OPTICAL)},
        OPTICAL_CABLE: {1: (OPTICAL,), 2: (ARC, LINE, OPTICAL)},
    }
    assert carried(plan) == {**dict.fromkeys(uses, 1), OPTICAL_CABLE: 2}
    stock = {line.item: line.in_stock for line in plan.items}
    assert stock == {**dict.fromkeys(uses, 0), DAC: 1, OPTICAL_CABLE: 2}
    # One set of ARC items for two jobs: both homes have ARC only in one of 64 cases.
    assert plan.certainty == pytest.approx(0.875**2 - 0.125**2)
    assert plan.reachable == pytest.approx(0.875**2)
    assert plan.cost == 5 + 25 + 49 + (20 + 2 * 6) / 4, "what is at hand counts a quarter"


def test_the_outputs_that_the_list_connects_come_in_the_order_of_their_chance_to_work() -> None:
    [job] = planned(0.95).jobs
    assert [(use.output, use.there, use.works) for use in job.uses] == [
        (LINE, 0.5, 0.9),
        (OPTICAL, 0.25, 0.8),
        (ARC, 0.125, pytest.approx(0.54)),
    ]
    assert job.uses[1] == Use(OPTICAL, 0.25, 0.8, (DAC, CABLE, OPTICAL_CABLE))


def test_a_set_with_two_outputs_uses_the_one_that_is_likelier_to_work() -> None:
    plan = planned(0.9, shapes={(LINE, OPTICAL): 1.0})
    assert (carried(plan), plan.jobs[0].works) == ({CABLE: 1}, 0.9)
    works = {LINE: Chance(0.4, 0.4, 0.4, 0, 0.0), OPTICAL: Chance(0.8, 0.8, 0.8, 0, 0.0)}
    both = planned(0.9, shapes={(LINE, OPTICAL): 0.5, (OPTICAL,): 0.5}, works=works)
    assert both.jobs[0].works == 0.8


def test_a_question_says_what_either_answer_changes() -> None:
    asked = {ask.about: ask for ask in planned(0.95).ask}
    assert list(asked) == [ARC, LINE, OPTICAL]
    line = asked[LINE]
    assert line.yes is not None
    assert line.no is not None
    assert (line.yes.items, line.yes.p, line.yes.cost, line.yes.certainty) == ((CABLE,), 0.5, 5.0, 1.0)
    assert (line.no.p, line.no.cost, line.no.certainty) == (0.5, 80.0, 0.75)
    assert line.yes.fewer == (EXTRACTOR, DAC, HDMI, OPTICAL_CABLE)
    assert (line.yes.more, line.no.fewer, line.no.more) == ((), (), ())
    assert (line.saves, line.share, line.items) == (0.5 * 75, 0.5 * 75 / 80, 0.5 * 4)
    optical = asked[OPTICAL]
    assert (optical.saves, optical.share) == (80 - 0.25 * 31 - 0.75 * 54, (80 - 0.25 * 31 - 0.75 * 54) / 80)


def test_a_photo_is_asked_for_if_no_answer_to_a_plain_question_saves_nearly_as_much() -> None:
    [photo] = planned(0.75).ask
    assert (photo.code, photo.about) == ("photo", None)
    # A set with a line output needs 26 less, one with ARC or nothing carries nothing for three quarters.
    assert photo.saves == 0.5 * 26 + 0.125 * 31
    assert photo.share == photo.saves / 31
    assert photo.items == 0.5 * 2 + 0.125 * 3


MUTING = {**dict.fromkeys(WORKS, STAYS), PHONES: {**STAYS, Speakers.STAY_ON: 0.5, Speakers.MUTE: 0.5}}


def test_a_jack_that_silences_needed_speakers_is_a_risk_and_somebody_is_asked() -> None:
    plan = planned(0.95, shapes={(LINE,): 0.5, (PHONES,): 0.25, (): 0.25}, speakers=MUTING)
    [job] = plan.jobs
    assert (job.certainty, job.reachable, job.if_free) == (0.625, 0.625, 0.75)
    assert job.risks == (Risk(0.25, (), ()), Risk(0.125, (), (PHONES,), (), (Useless.MUTES,)))
    assert (plan.ask[0].code, plan.ask[0].jobs, plan.ask[0].lifts) == ("speakers", (1,), 0.125)
    assert [ask.about for ask in plan.ask] == [None, LINE, PHONES]


@pytest.mark.parametrize(("limit", "told"), [(0.125, True), (0.126, False)])
def test_who_listens_matters_if_silenced_speakers_cost_a_job_enough(
    limit: float, told: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(packing, "MUTED", limit)
    [job] = planned(0.95, shapes={(LINE,): 0.5, (PHONES,): 0.25, (): 0.25}, speakers=MUTING).jobs
    assert job.if_free == (0.75 if told else None)


def test_an_output_in_use_that_cannot_be_shared_and_one_known_to_fail_are_told_apart() -> None:
    in_use = {(ARC,): {frozenset({Signal.ARC}): 1.0}, (OPTICAL,): {frozenset(): 1.0}}
    plan = planned(
        0.95, shapes={(ARC,): 0.5, (OPTICAL,): 0.5}, taken=in_use, dead={OPTICAL: 0.25}, works={
            ARC: Chance(0.6, 0.6, 0.6, 0, 0.0), OPTICAL: Chance(0.2, 0.2, 0.2, 3, 0.25)
        },
    )  # fmt: skip
    [job] = plan.jobs
    why = {risk.panel: risk.why for risk in job.risks}
    assert why == {(ARC,): (Useless.TAKEN,), (OPTICAL,): (Useless.FAILS,)}
    assert [risk.p for risk in job.risks] == [0.5, 0.125]


@pytest.mark.parametrize(("p", "asked"), [(0.75, False), (0.875, True)])
def test_whether_an_output_is_in_use_is_asked_only_if_it_is_most_likely_there(p: float, asked: bool) -> None:
    shapes = {(OPTICAL,): p, (): 1 - p}
    taken = {(OPTICAL,): {frozenset({Signal.OPTICAL}): 0.5, frozenset(): 0.5}, (): {frozenset(): 1.0}}
    plan = planned(0.95, "optical", shapes=shapes, taken=taken)
    assert ("taken" in {ask.code for ask in plan.ask}) is asked
    if asked:
        [ask] = [ask for ask in plan.ask if ask.code == "taken"]
        assert ask.yes is not None
        assert ask.no is not None
        assert (ask.yes.p, ask.no.p) == (pytest.approx(0.5 * p / 1), pytest.approx(1 - 0.5 * p))
        assert ask.no.items == (OPTICAL_CABLE,)


def test_on_a_day_of_several_jobs_the_outputs_are_asked_about_that_may_as_well_be_there_as_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def asked() -> set[Output | None]:
        plan = planned(0.95, "line-3.5", "line-rca", shapes={(LINE,): 0.55, (OPTICAL,): 0.3, (ARC,): 0.15})
        return {ask.about for ask in plan.ask if ask.code == "has"}

    monkeypatch.setattr(questions, "PHOTO", 1e9)  # no photo instead
    assert asked() >= {LINE, OPTICAL}
    monkeypatch.setattr(questions, "WEIGHED", 1)
    assert asked() == {LINE}


def test_a_job_that_nothing_can_connect_does_not_spoil_the_questions_about_another() -> None:
    day = day_from([{"make": "Bare", "inputs": ["line-3.5"]}, {"make": "Norwell", "inputs": ["line-3.5"]}])

    def expect(source: Source) -> Expectation:
        return expecting({(): 1.0} if source.make == "Bare" else {(LINE, OPTICAL): 0.5, (OPTICAL,): 0.5})

    plan = pack(day, expect)
    assert (plan.reachable, plan.certainty) == (0, 0)
    [line] = [ask for ask in plan.ask if ask.about == LINE]
    assert line.jobs == (2,)
    assert line.yes is not None
    assert (line.yes.items, line.yes.cost) == ((CABLE,), 5.0), "the optical output is not needed then"


def test_what_helps_is_found_among_many_things_that_help_only_together() -> None:
    """The list gives 0.5 x 0.75. With a converter and one more optical cable it gives 0.75 x 0.75."""
    plan = planned(0.25, "line-3.5", "optical")
    assert plan.certainty == 0.5 * 0.75
    assert plan.next is not None
    assert (plan.next.items, plan.next.gain) == ((DAC, OPTICAL_CABLE), 0.75 * 0.75 - 0.375)


@pytest.mark.parametrize("target", [0.1, 0.3, 0.6])
@pytest.mark.parametrize("inputs", [("line-3.5",) * 2, ("line-3.5", "optical"), ("line-3.5",) * 3])
def test_no_item_pair_or_three_more_would_add_more_for_each_item_than_the_next_one_named(
    monkeypatch: pytest.MonkeyPatch, inputs: tuple[str, ...], target: float
) -> None:
    """With one converter in the bag, only a second one *and* its cables let a second job use optical."""
    best: list[float] = []
    named = packing.Packing.next_item

    def tried(self: packing.Packing, chances: Chances, stock: Stock) -> Next | None:
        now = chances.of(stock)
        for size in (1, 2, 3):
            every = combinations_with_replacement(self.items, size)
            best.extend((chances.of(self.with_more(stock, more)) - now) / size for more in every)
        return named(self, chances, stock)

    monkeypatch.setattr(packing.Packing, "next_item", tried)
    plan = planned(target, *inputs, shapes={(LINE,): 0.2, (OPTICAL,): 0.6, (ARC,): 0.2})
    assert plan.exact
    assert plan.next is not None
    assert plan.next.gain / len(plan.next.items) == pytest.approx(max(best))


def test_a_long_day_with_a_job_that_nothing_can_connect_is_packed_for_the_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(packing, "LOOKED_THROUGH", 1)
    monkeypatch.setattr(packing, "PLAIN", 0)
    day = day_from([{"make": make, "inputs": ["line-3.5"]} for make in ("Bare", "Norwell", "Norwell")])
    plan = pack(day, lambda source: expecting({(): 1.0} if source.make == "Bare" else MIXED))
    assert (plan.reachable, plan.certainty, plan.exact) == (0, 0, False)
    assert [job.reachable for job in plan.jobs] == [0, 0.875, 0.875]


def test_programs_get_chances_to_four_digits_and_money_to_two() -> None:
    exact = planned(0.95, shapes={(LINE,): 1 / 3, (OPTICAL,): 2 / 3}, prior_share=0.123456)
    plan = replace(exact, cost=31.23456, bound=31.23456, certainty=0.987654, reachable=0.987654)
    said = to_json(plan)
    assert (said["cost"], said["bound"], said["certainty"], said["reachable"]) == (
        31.23,
        31.23,
        0.9877,
        0.9877,
    )
    assert (said["target"], said["reached"], said["optimal"], said["exact"]) == (0.95, True, True, True)
    assert (said["hindered"], said["next"]) == ([], None)
    [job] = said["jobs"]
    assert {key: job[key] for key in ("job", "make", "model", "kind", "sockets", "if_speakers_free")} == {
        "job": "1",
        "make": "Norwell",
        "model": "N1",
        "kind": "television",
        "sockets": 2,
        "if_speakers_free": None,
    }
    assert (job["prior_share"], job["reachable"], job["certainty"], job["works"]) == (
        0.1235,
        1.0,
        1.0,
        0.8333,
    )
    line = {"form": "rca-pair", "signal": "analog-line"}
    assert job["outputs"][0] == {**line, "p": 0.3333, "works": 0.9, "items": [CABLE]}
    assert job["expected"][0] == {"signals": ["analog-line"], "outputs": [line], "p": 0.3333}
    assert said["items"][1] == {
        "item": CABLE,
        "count": 1,
        "in_stock": 0,
        "for": [{"job": 1, "signals": ["analog-line", "optical"]}],
    }
    short = to_json(planned(0.75))
    assert short["next"] == {"item": EXTRACTOR, "items": [EXTRACTOR, HDMI], "gain": 0.125}
    assert short["jobs"][0]["risks"] == [
        {"p": 0.125, "text": "only an HDMI ARC socket", "signals": ["arc"], "live": True, "why": []},
        {"p": 0.125, "text": "no usable output at all", "signals": [], "live": False, "why": []},
    ]
    assert short["ask"][0] == {
        "job": 1,
        "jobs": [1],
        "question": short["ask"][0]["question"],
        "saves": 16.88,
        "share": 0.5444,
        "items_fewer": 1.38,
        "lifts": 0.0,
        "yes": None,
        "no": None,
    }
