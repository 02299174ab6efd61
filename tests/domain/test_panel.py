"""Panels of several visits are reconciled into one; conflicts are counted, never hidden."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import permutations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.domain.panel import Panel, panel_of, reconcile, source_of
from kb.domain.visit import Visit, visit_from
from kb.domain.words import Basis, Direction, Display, Form, Kind, Level, Outcome, Signal, Speakers


def visit(jacks: list[dict[str, Any]], basis: str = "tested", on: str = "2024-05-01", **more: Any) -> Visit:
    source = {"make": "Norwell", "model": "NV40-210"}
    return visit_from({"date": on, "basis": basis, "source": source, "jacks": jacks, **more})


OPTICAL = {"form": "toslink", "marking": "OPTICAL OUT"}
PHONES = {"form": "jack-3.5", "marking": "HEADPHONE"}


def test_a_later_tested_visit_outranks_an_earlier_told_one() -> None:
    told = visit([{**PHONES, "speakers": "stay-on"}], "told", "2020-01-01")
    tested = visit([{**PHONES, "speakers": "mute"}], "tested", "2024-01-01")
    (phones,) = reconcile([told, tested]).jacks
    assert phones.speakers is Speakers.MUTE
    assert phones.conflicts == 1
    assert phones.disputes[0].said == (("mute", 1), ("stay-on", 1))


def test_a_later_told_visit_does_not_outrank_a_test() -> None:
    tested = visit([{**PHONES, "speakers": "mute"}], "tested", "2020-01-01")
    told = visit([{**PHONES, "speakers": "stay-on"}], "told", "2024-01-01")
    assert reconcile([tested, told]).jacks[0].speakers is Speakers.MUTE


def test_on_the_same_basis_the_later_visit_is_believed() -> None:
    old = visit([{**OPTICAL, "level": "variable"}], on="2020-01-01")
    new = visit([{**OPTICAL, "level": "fixed"}], on="2024-01-01")
    assert reconcile([new, old]).jacks[0].jack.level is Level.FIXED


def test_what_somebody_says_outranks_what_the_mark_suggests() -> None:
    said = visit([{"form": "rca-pair", "marking": "AUDIO", "direction": "output"}], on="2020-01-01")
    read = visit([{"form": "rca-pair", "marking": "AUDIO"}], on="2024-01-01")
    (audio,) = reconcile([said, read]).jacks
    assert audio.jack.direction is Direction.OUTPUT
    assert audio.conflicts == 1


def test_the_unknown_contradicts_nobody() -> None:
    known = visit([{**OPTICAL, "format": "pcm"}], on="2020-01-01")
    (optical,) = reconcile([known, visit([OPTICAL])]).jacks
    assert (optical.jack.format.value, optical.conflicts, optical.findings) == ("pcm", 0, 2)


def test_two_spellings_of_the_only_optical_jack_are_one_jack() -> None:
    other = visit([{"form": "toslink", "marking": "DIGITAL AUDIO OUT"}])
    assert len(reconcile([visit([OPTICAL]), other]).jacks) == 1


def test_a_combined_jack_is_one_jack_whichever_plug_was_recorded() -> None:
    mark = "OPTICAL / LINE OUT"
    forms = [visit([{"form": form, "marking": mark}]) for form in ("jack-3.5", "mini-toslink")]
    assert len(reconcile(forms).jacks) == 1


def test_two_outputs_that_one_visit_saw_stay_two() -> None:
    both = visit(
        [{"form": "rca-pair", "marking": "AUDIO OUT"}, {"form": "rca-pair", "marking": "MONITOR OUT"}]
    )
    one = visit([{"form": "rca-pair", "marking": "MONITOR OUT", "outcome": "carried"}])
    audio, monitor = reconcile([one, both]).jacks[::-1]
    assert (audio.jack.marking, audio.findings) == ("AUDIO OUT", 1)
    assert (monitor.jack.marking, monitor.findings) == ("MONITOR OUT", 2)


def test_an_output_and_an_input_of_one_form_are_never_mixed() -> None:
    panel = reconcile(
        [
            visit([{"form": "rca-pair", "marking": "AUDIO OUT"}]),
            visit([{"form": "rca-pair", "marking": "AUDIO"}]),
        ]
    )
    assert sorted(j.jack.direction.value for j in panel.jacks) == ["input", "output"]


def test_a_worn_mark_is_settled_by_an_earlier_finding_of_the_only_such_jack() -> None:
    worn = visit([{"form": "toslink"}], on="2024-01-01")
    clear = visit([OPTICAL], on="2020-01-01")
    (jack,) = reconcile([worn, clear]).jacks
    assert (jack.jack.direction, jack.jack.marking) == (Direction.OUTPUT, "OPTICAL OUT")


def test_a_jack_that_a_caller_tells_of_and_nobody_saw_is_unclear() -> None:
    told = visit([{**OPTICAL, "direction": "output"}], "told")
    seen = visit([PHONES, {"form": "hdmi"}, {"form": "rca-pair", "marking": "AUDIO"}], "seen")
    optical = next(j for j in reconcile([told, seen]).jacks if j.jack.form is Form.TOSLINK)
    assert (optical.jack.direction, optical.conflicts) == (Direction.UNCLEAR, 1)
    assert reconcile([told]).jacks[0].jack.direction is Direction.OUTPUT


def test_a_visit_that_lists_one_jack_only_does_not_deny_the_others() -> None:
    told = visit([{**OPTICAL, "direction": "output"}], "told")
    optical = reconcile([told, visit([PHONES], "tested")]).jacks[1]
    assert (optical.jack.direction, optical.conflicts) == (Direction.OUTPUT, 0)


OUT, IN, WORN = ({"form": "rca-pair", "marking": mark} for mark in ("AUDIO OUT", "AUDIO IN", ""))


@pytest.mark.parametrize(
    ("seen", "jacks"),
    [
        (([OUT], [WORN]), 1),  # the only jack of its form, with a worn mark now
        (([OUT], [IN], [WORN]), 3),  # nobody knows which of the two it is
        (([OUT, {**OUT, "marking": "AUDIO OUT 2"}], [WORN]), 3),
        (([OUT], [OUT], [WORN]), 1),
    ],
)
def test_a_worn_mark_joins_the_only_jack_of_its_form_and_no_other(
    seen: tuple[list[dict[str, Any]], ...], jacks: int
) -> None:
    assert len(reconcile(visit(some) for some in seen).jacks) == jacks


def test_a_panel_that_nobody_saw_rests_on_no_visit() -> None:
    assert (Panel().visits, Panel().jacks) == (0, ())


def test_the_items_to_take_are_those_that_carried_sound_last() -> None:
    said = [
        ("2024-01-01", "carried", "thin cable"),
        ("2025-01-01", "carried", "long cable"),
        ("2026-01-01", "carried", "short cable"),
        ("2026-02-01", "silent", "bent cable"),
    ]
    seen = [visit([{**OPTICAL, "outcome": found, "items": [item]}], on=day) for day, found, item in said]
    best = [reconcile(seen[:count]).jacks[0].items for count in (1, 2, 4)]
    assert best == [("thin cable",), ("long cable",), ("short cable",)]


def test_a_superseded_visit_is_left_out() -> None:
    old = visit([{**PHONES, "speakers": "stay-on"}], id="00000000-0000-7000-8000-000000000001")
    new = visit([{**PHONES, "speakers": "mute"}], "told", supersedes=[old.id])
    panel = reconcile([old, new])
    assert (panel.visits, panel.jacks[0].speakers, panel.conflicts) == (1, Speakers.MUTE, 0)


def test_taken_at_one_home_is_not_taken_at_the_next() -> None:
    seen = visit([{**OPTICAL, "taken": True}])
    assert panel_of(seen).jacks[0].taken
    (jack,) = reconcile([seen]).jacks
    assert (jack.taken, jack.taken_seen) == (False, 1)


def test_the_panel_of_one_visit_keeps_the_order_of_its_jacks() -> None:
    jacks = [{"form": "rca-pair"}, OPTICAL, {"form": "rca-pair"}, PHONES, {"form": "rca-pair"}]
    assert [j.jack.form.value for j in panel_of(visit(jacks)).jacks] == [j["form"] for j in jacks]


marks = ["", "AUDIO OUT", "AUDIO", "OPTICAL OUT", "HEADPHONE", "PC AUDIO"]
jack_data = st.fixed_dictionaries(
    {"form": st.sampled_from(["rca-pair", "toslink", "jack-3.5"]), "marking": st.sampled_from(marks)},
    optional={
        "direction": st.sampled_from(Direction).map(str),
        "signal": st.sampled_from([Signal.ANALOG_LINE, Signal.OPTICAL, Signal.HEADPHONE]).map(str),
        "speakers": st.sampled_from(Speakers).map(str),
        "outcome": st.sampled_from(Outcome).map(str),
        "taken": st.booleans(),
    },
)
visits_of_one_set = st.lists(
    st.builds(
        lambda jacks, basis, day: visit(jacks, basis, (date(2024, 1, 1) + timedelta(day)).isoformat()),
        st.lists(jack_data, max_size=4),
        st.sampled_from(Basis).map(str),
        st.integers(0, 3),
    ),
    max_size=4,
)


@given(visits_of_one_set)
def test_the_order_of_visits_does_not_matter(visits: list[Visit]) -> None:
    first = reconcile(visits)
    assert all(reconcile(order) == first for order in permutations(visits))


@given(visits_of_one_set)
def test_every_finding_is_counted_once(visits: list[Visit]) -> None:
    panel = reconcile([*visits, *visits])  # the same visit twice is one visit
    distinct = {id(v): v for v in visits}.values()
    assert sum(j.findings for j in panel.jacks) == sum(len(v.findings) for v in distinct)


@given(visits_of_one_set.filter(bool))
def test_a_panel_has_no_fewer_jacks_than_any_visit_saw(visits: list[Visit]) -> None:
    panel = reconcile(visits)
    for form in Form:
        seen = max(sum(f.jack.form is form for f in v.findings) for v in visits)
        assert sum(j.jack.form is form for j in panel.jacks) >= seen


@pytest.mark.parametrize(
    ("form", "one", "other"),
    [("rca-pair", "AUDIO OUT", "AUDIO IN"), ("jack-3.5", "LINE OUT", "HEADPHONE")],
)
def test_jacks_of_one_form_whose_marks_say_different_things_are_two(form: str, one: str, other: str) -> None:
    """Though no visit saw both: an output is no input, and line level no headphone jack."""
    seen = reconcile([visit([{"form": form, "marking": one}]), visit([{"form": form, "marking": other}])])
    assert sorted(jack.jack.marking for jack in seen.jacks) == sorted([one, other])
    assert seen.conflicts == 0


def test_of_corrections_that_correct_each_other_the_last_stands() -> None:
    ids = [f"0192a6c0-0000-7000-8000-00000000000{n}" for n in range(3)]
    first = visit([{**PHONES, "speakers": "mute"}], id=ids[0])
    second = visit([{**PHONES, "speakers": "stay-on"}], id=ids[1], supersedes=[ids[0]])
    third = visit([{**PHONES, "speakers": "mute-unless-set"}], id=ids[2], supersedes=[ids[1]])
    for some in permutations([first, second, third]):
        panel = reconcile(some)
        assert (panel.visits, panel.conflicts) == (1, 0)
        assert panel.jacks[0].speakers is Speakers.MUTE_UNLESS_SET


def test_what_connected_a_jack_is_told_of_the_last_time_that_it_carried_sound() -> None:
    tries = [
        visit([{**OPTICAL, "outcome": "carried", "items": ["optical cable 2 m"]}], on="2020-01-01"),
        visit([{**OPTICAL, "outcome": "carried", "items": ["optical cable 5 m"]}], on="2022-01-01"),
        visit([{**OPTICAL, "outcome": "silent", "items": ["optical cable 10 m"]}], on="2024-01-01"),
        visit([{**OPTICAL, "outcome": "carried"}], on="2025-01-01"),
    ]
    for some in permutations(tries):
        assert reconcile(some).jacks[0].items == ("optical cable 5 m",)


# -- what somebody saw is there --------------------------------------------------------------------


def test_a_jack_that_somebody_saw_stays_though_another_who_looked_did_not_list_it() -> None:
    """Only hearsay gives way to a list without it: who looked at the panel may overlook, hardly invent."""
    whole = visit([PHONES, {"form": "hdmi", "marking": "HDMI 1"}, {"form": "usb"}], "tested", "2024-05-01")
    seen = visit([OPTICAL], "seen", "2020-01-01")
    told = visit([{**OPTICAL, "direction": "output"}], "told", "2020-01-01")
    optical = next(one for one in reconcile([seen, told, whole]).jacks if one.jack.form is Form.TOSLINK)
    assert (optical.jack.direction, optical.conflicts, optical.findings) == (Direction.OUTPUT, 0, 2)


def test_two_jacks_are_no_list_of_a_whole_panel_and_three_are() -> None:
    told = visit([{**OPTICAL, "direction": "output"}], "told")
    some = [PHONES, {"form": "hdmi", "marking": "HDMI 1"}, {"form": "usb"}]
    directions = [
        next(
            one.jack.direction
            for one in reconcile([told, visit(jacks)]).jacks
            if one.jack.form is Form.TOSLINK
        )
        for jacks in (some[:2], some)
    ]
    assert directions == [Direction.OUTPUT, Direction.UNCLEAR]


# -- what is of use ------------------------------------------------------------------------------------


def test_only_an_output_that_carries_the_whole_sound_is_of_use_and_can_be_in_use() -> None:
    jacks = [
        {"form": "rca-pair", "marking": "AUDIO OUT"},
        {"form": "rca-pair", "marking": "AUDIO IN"},
        {"form": "rca-single", "marking": "SUBWOOFER OUT"},
        {"form": "rca-single", "marking": "AUDIO OUT"},  # an output, but nobody knows of what
        {"form": "rca-pair", "marking": "", "signal": "analog-line"},
    ]
    panel = panel_of(visit(jacks))
    assert [one.jack.usable for one in panel.jacks] == [True, False, False, False, False]
    in_use = panel.taken([Signal.ANALOG_LINE, Signal.NOT_AUDIO])
    assert [one.taken for one in in_use.jacks] == [True, False, False, False, False]
    assert not any(one.taken for one in panel.taken([Signal.OPTICAL]).jacks)


# -- what the source is called ---------------------------------------------------------------------


def called(model: str, basis: str = "seen", on: str = "2024-05-01", **more: Any) -> Visit:
    source = {"make": "Norwell", "model": model, **more}
    return visit_from({"date": on, "basis": basis, "source": source})


def test_a_source_is_called_as_most_visits_call_it_and_known_by_what_most_say() -> None:
    visits = [
        called("NV40-210", "told", year=2014, display="flat"),
        called("NV40-210", "told", "2023-01-01", year=2014, size_in=40),
        called("nv40 210", "tested", year=2015, kind="receiver"),
    ]
    for some in permutations(visits):
        source = source_of(some)
        assert (source.model, source.kind, source.year) == ("NV40-210", Kind.TELEVISION, 2014)
        assert (source.display, source.size_in) == (Display.FLAT, 40)


def test_where_as_many_call_it_otherwise_the_strongest_visit_is_believed() -> None:
    told, tested = (
        called("NV4O-210", "told", "2025-01-01", year=2010),
        called("NV40-210", "tested", year=2014),
    )
    assert source_of([told, tested]) == source_of([tested, told])
    assert (source_of([told, tested]).model, source_of([told, tested]).year) == ("NV40-210", 2014)


def test_of_two_names_from_equal_visits_the_newest_is_shown_and_on_one_day_always_the_same() -> None:
    old, new = called("NV40-210", on="2024-05-01"), called("NV40/210", on="2024-05-02")
    assert source_of([old, new]).model == "NV40/210"
    today = replace(new, source=old.source)
    for ids in permutations(("1", "2")):
        same_day = [replace(one, id=own) for one, own in zip((new, today), ids, strict=True)]
        assert source_of(same_day).model == "NV40/210"


def test_a_name_typed_in_haste_does_not_rename_the_set_however_often_it_is_typed() -> None:
    first, *hasty = called("NV40-210"), *(called("nv40210", on=f"2026-03-0{day}") for day in (1, 2, 3))
    assert source_of([first, *hasty]).model == "NV40-210"
    assert source_of(hasty).model == "nv40210"  # nobody wrote another


def test_without_a_visit_there_is_no_source() -> None:
    with pytest.raises(ValueError, match="known from its visits"):
        source_of([])
