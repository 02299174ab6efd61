"""Visit files: what is read, what is refused, and that writing and reading agree."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.domain.jack import Jack
from kb.domain.kinds import fields_of
from kb.domain.visit import Driver, Finding, Source, Visit, set_key, visit_from, visit_to, visits_from
from kb.domain.words import Basis, Direction, Kind, Signal

GOOD: dict[str, Any] = {
    "date": "2026-03-04",
    "by": "RT",
    "basis": "tested",
    "job": "J-104",
    "source": {
        "make": "Norwell",
        "model": "NV40-210",
        "kind": "television",
        "display": "flat",
        "year": 2014,
        "size_in": 40,
    },
    "driver": {"name": "bench driver", "inputs": ["line-3.5", "optical"]},
    "jacks": [
        {
            "form": "toslink",
            "marking": "DIGITAL AUDIO OUT",
            "direction": "output",
            "signal": "optical",
            "level": "fixed",
            "format": "selectable",
            "speakers": "stay-on",
            "taken": False,
            "outcome": "carried",
            "items": ["optical cable 2 m"],
            "setting": "sound menu, digital output: PCM",
            "note": "",
        },
        {"form": "rca-pair", "marking": "AUDIO", "direction": "input"},
    ],
    "note": "free text",
}


def with_(path: str, value: object) -> dict[str, Any]:
    data = copy.deepcopy(GOOD)
    *outer, last = path.split(".")
    place: Any = data
    for step in outer:
        place = place[int(step) if step.isdigit() else step]
    place[last] = value
    return data


def test_a_whole_visit_is_read() -> None:
    visit = visit_from(GOOD)
    assert visit.source.key == "NORWELL/NV40210"
    assert visit.findings[0].items == ("optical cable 2 m",)
    assert visit.findings[1].jack.direction is Direction.INPUT


def test_make_model_and_a_date_are_enough() -> None:
    visit = visit_from({"date": "2026-03-04", "source": {"make": "Norwell", "model": "NV40"}})
    assert (visit.source.kind, visit.basis, visit.findings) == (Kind.TELEVISION, Basis.SEEN, ())


def test_an_input_of_a_driver_that_nobody_knows_is_named_by_its_number() -> None:
    with pytest.raises(BadInput, match=r"input.* 2"):
        visit_from(with_("driver.inputs", ["mic", "usb"]))


def test_what_the_mark_settles_is_inferred_and_said() -> None:
    data = with_("jacks", [{"form": "rca-pair", "marking": "AUDIO OUT"}, {"form": "rca-pair"}])
    out, worn = visit_from(data).findings
    assert (out.jack.direction, out.jack.signal) == (Direction.OUTPUT, Signal.ANALOG_LINE)
    assert out.inferred == ("direction", "signal")
    assert worn.jack.direction is Direction.UNCLEAR


def test_a_jack_that_sound_came_out_of_is_an_output_though_its_mark_is_worn() -> None:
    data = with_("jacks", [{"form": "rca-pair", "outcome": "carried"}])
    assert visit_from(data).findings[0].jack.direction is Direction.OUTPUT


def test_a_visit_that_tried_a_jack_was_a_test() -> None:
    data = with_("basis", None)
    assert visit_from(data).basis is Basis.TESTED


@pytest.mark.parametrize(
    ("path", "value", "named"),
    [
        ("date", "soon", "date"),
        ("date", "2026-02-30", "date"),
        ("date", 20260304, "date"),
        ("date", "2062-03-04", "date"),
        ("date", None, "date"),
        ("basis", "guessed", "basis"),
        ("source.make", "", "make"),
        ("source.make", "--", "make"),
        ("source.model", "X" * 10_000, "model"),
        ("source.model", "NV40\x1b[31m", "model"),
        ("source.model", ["NV40"], "model"),
        ("source.kind", "fridge", "kind"),
        ("source.year", 3000, "year"),
        ("source.year", True, "year"),
        ("source.size_in", float("nan"), "size_in"),
        ("source.size_in", "40", "size_in"),
        ("source", "Norwell", "source"),
        ("jacks", {"form": "toslink"}, "jack"),
        ("jacks", [{"form": "toslink"}] * 65, "jack"),
        ("jacks.0.form", "tosslink", "jack 1, form"),
        ("jacks.1.direction", "sideways", "jack 2, direction"),
        ("jacks.0.outcome", "purple", "jack 1, outcome"),
        ("jacks.0.taken", "no", "jack 1, taken"),
        ("jacks.0.items", "a cable", "jack 1, items"),
        ("jacks.0.marknig", "AUDIO", "unknown field"),
        ("driver.inputs", ["usb"], "inputs"),
        ("id", "../../etc", "id"),
        ("note", "x" * 5000, "note"),
        ("surprise", 1, "unknown field"),
    ],
)
def test_a_mistake_is_named_with_field_and_what_was_expected(path: str, value: object, named: str) -> None:
    with pytest.raises(BadInput) as caught:
        visit_from(with_(path, value))
    assert named in str(caught.value)
    assert len(str(caught.value)) < 600
    assert "\x1b" not in str(caught.value)


def test_a_near_miss_is_told_the_right_word() -> None:
    with pytest.raises(BadInput, match="expected toslink"):
        visit_from(with_("jacks.0.form", "tosslink"))


@pytest.mark.parametrize("data", [None, 3, "visit", [], [[]], [3], {"date": {}}])
def test_what_is_no_visit_at_all_is_refused(data: object) -> None:
    with pytest.raises(BadInput):
        visit_from(data)


def test_control_characters_in_a_note_become_visible_signs() -> None:
    assert visit_from(with_("note", "a\x1b[31mb\x00\u202e\nc")).note == "a␛[31mb␀�\nc"


def test_markup_in_a_note_is_kept_as_it_was_typed() -> None:
    assert visit_from(with_("note", "[bold]=SUM(A1)[/] <b>")).note == "[bold]=SUM(A1)[/] <b>"


def test_a_file_of_several_visits_is_read_in_its_order() -> None:
    days = ["2026-03-04", "2024-01-02", "2025-06-07"]
    read = visits_from([with_("date", day) for day in days])
    assert [visit.date.isoformat() for visit in read] == days


def test_several_visits_are_named_by_number() -> None:
    with pytest.raises(BadInput, match="visit 1, date"):
        visits_from([with_("date", "never"), GOOD])
    with pytest.raises(BadInput, match="visit 2, date"):
        visits_from([GOOD, with_("date", "never")])


@pytest.mark.parametrize("spelling", ["nv40-210", "NV 40/210", "Nv40210", "ＮＶ40‐210"])
def test_spellings_that_differ_in_case_and_punctuation_are_one_set(spelling: str) -> None:
    assert set_key("NORWELL", spelling) == set_key("Norwell", "NV40-210")


def test_writing_and_reading_agree() -> None:
    visit = visit_from(GOOD)
    assert visit_from(json.loads(json.dumps(visit_to(visit)))) == visit


def test_of_a_visit_with_all_that_a_file_can_say_every_field_is_written() -> None:
    """The list is that of the declarations: a field that writing forgets is told by its key."""
    jack = {**GOOD["jacks"][0], "colour": "black", "input": "line-3.5", "note": "behind the stand"}
    more = {
        "jacks": [jack],
        "id": "0190b6c4-7d1e-7cc3-98c4-dc0c0c07398f",
        "supersedes": ["0190b6c4-7d1e-7cc3-98c4-dc0c0c073990"],
        "readings": {"current": 2.1},
        "case": {"complaint": "hum", "fault": "ground-loop"},
    }
    visit = visit_from({**GOOD, **more})
    written = visit_to(visit)
    assert set(written) == {one.key for one in fields_of(Visit)}
    assert set(written["source"]) == {one.key for one in fields_of(Source)}
    assert set(written["driver"]) == {one.key for one in fields_of(Driver)}
    assert set(written["jacks"][0]) == {one.key for of in (Jack, Finding) for one in fields_of(of)}
    assert written["case"] == more["case"]
    assert written["readings"] == more["readings"]
    assert visit_from(json.loads(json.dumps(written))) == visit


jsonish = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.sampled_from([*GOOD, *GOOD["source"], *GOOD["jacks"][0]]), inner, max_size=6)
    ),
    max_leaves=20,
)


@given(jsonish)
def test_whatever_a_file_holds_it_is_a_visit_or_a_named_mistake(data: object) -> None:
    try:
        said: list[Any] = [*visits_from(data)]
    except BadInput as mistake:
        said = [str(mistake)]
    assert all(isinstance(one, Visit) or one for one in said)


@pytest.mark.parametrize(
    ("kind", "form", "marking", "direction", "signal"),
    [
        ("set-top-box", "hdmi", "HDMI", "output", "hdmi"),
        ("player", "hdmi", "HDMI OUT", "output", "hdmi"),
        ("computer", "usb", "USB", "output", "usb"),
        ("set-top-box", "hdmi", "HDMI IN", "input", None),
        ("television", "hdmi", "HDMI", "input", None),
        ("receiver", "hdmi", "HDMI OUT", "output", None),
        ("television", "usb", "USB", "unclear", "not-audio"),
    ],
)
def test_the_kind_of_source_tells_what_a_mark_does_not(
    kind: str, form: str, marking: str, direction: str, signal: str | None
) -> None:
    source = {"make": "Tessarin", "model": "SB2", "kind": kind}
    jacks = [{"form": form, "marking": marking}, {"form": "toslink", "marking": "OPTICAL OUT"}]
    visit = visit_from({"date": "2026-03-04", "source": source, "jacks": jacks})
    jack = visit.findings[0].jack
    assert (jack.direction, jack.signal) == (direction, signal)
    assert visit_from(visit_to(visit)) == visit


def test_a_persons_word_on_a_boxs_hdmi_socket_is_kept() -> None:
    source = {"make": "Tessarin", "model": "SB2", "kind": "set-top-box"}
    jack = {"form": "hdmi", "marking": "HDMI", "direction": "input"}
    visit = visit_from({"date": "2026-03-04", "source": source, "jacks": [jack]})
    assert visit.findings[0].jack.direction is Direction.INPUT
