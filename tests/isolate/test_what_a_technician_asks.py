"""Is the next question the one of somebody who has looked for such faults for years? Common practice."""

from __future__ import annotations

import pytest
from isolate_trial import path_used

from kb.base.messages import template
from kb.book.faults import load_model
from kb.isolate import State, finding_of, start
from kb.isolate import wording as says

MODEL = load_model()
ANALOG = path_used("analog-line", ("RCA cable 2 m",), "line-rca")
HEADPHONE = path_used("headphone", ("cable 3.5 mm",), "line-3.5")
OPTICAL = path_used("optical", ("optical cable 2 m",), "optical")
OPTICAL_DAC = path_used("optical", ("optical cable 2 m", "DAC", "RCA cable 1 m"), "line-rca")
COAXIAL = path_used("coaxial", ("coaxial cable 2 m", "DAC"), "line-3.5")
ARC = path_used("arc", ("HDMI cable 1 m", "ARC extractor", "cable 3.5 mm"), "line-3.5")
WIRELESS = path_used("wireless", ("Bluetooth receiver", "cable 3.5 mm"), "line-3.5")
SPEAKER = path_used("speaker-level", ("speaker-to-line converter", "RCA cable"), "line-rca")
MICROPHONE = path_used("acoustic", ("microphone",), "mic")
PATHS = (ANALOG, HEADPHONE, OPTICAL, OPTICAL_DAC, COAXIAL, ARC, WIRELESS, SPEAKER, MICROPHONE)

#: complaint, path, test, what is seen, what it shows: acting on it costs less than any further question.
IN_THE_WRONG_SOCKET = [
    ("no-sound", ANALOG, "jack-mark", "input", "wrong-jack"),
    ("no-sound", ARC, "jack-mark", "input", "wrong-jack"),
    ("no-sound", COAXIAL, "coaxial-end", "analog", "digital-into-analog"),
    ("distorted", COAXIAL, "coaxial-end", "analog", "digital-into-analog"),
    ("hum", ANALOG, "driver-input", "mic", "line-into-mic"),
    ("distorted", ANALOG, "driver-input", "mic", "line-into-mic"),
]


def asked(state: State) -> str:
    assert state.next_test is not None
    return state.next_test.test.id


@pytest.mark.parametrize(("complaint", "path", "test", "answer", "fault"), IN_THE_WRONG_SOCKET)
def test_a_plug_seen_in_the_wrong_socket_is_moved_at_once(complaint, path, test, answer, fault):
    state = start(MODEL, complaint, path).answer(test, answer)
    assert (state.head, state.done, state.settled) == (fault, True, True)


def test_a_plug_seen_in_the_wrong_socket_is_moved_whatever_was_found_before():
    state = start(MODEL, "no-sound", ANALOG).answer("player-into-line", "same").answer("jack-mark", "input")
    assert (state.head, state.done) == ("wrong-jack", True)
    assert sum(state.odds.values()) == pytest.approx(1)
    moved = state.repaired("wrong-jack")  # and it is still silent: the search goes on for the other fault
    assert not moved.done
    assert moved.head != "wrong-jack"


def asked_before(state: State, later: set[str], usual: dict[str, str]) -> tuple[list[str], State]:
    """The tests that are asked until one of ``later`` is, or the end; and the state then."""
    tests: list[str] = []
    while state.next_test is not None:
        test = state.next_test.test
        tests.append(test.id)
        if test.id in later:
            return tests, state
        state = state.answer(test.id, usual.get(test.id) or list(test.answers)[-1])
    return tests, state


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("light", ["power", "plain", "dark"])
def test_is_it_muted_is_asked_before_a_plug_is_pulled(path, light):
    pulled = {"plugs", "swap-cable", "red-glow", "headphones-at-end", "player-into-line", "another-output"}
    state = start(MODEL, "no-sound", path).answer("driver-lights", light)
    seen = {"source-plays": "yes", "selectors": "right", "menu": "right"}
    order, then = asked_before(state, pulled, seen)
    if pulled & {*order[-1:]}:
        assert "source-plays" in order[:-1] or then.odds["source-muted"] < 0.005


@pytest.mark.parametrize("path", PATHS)
def test_are_the_speakers_muted_is_asked_before_a_plug_is_pulled(path):
    order, _ = asked_before(start(MODEL, "speakers-dead", path), {"pull-the-plug", "plug-in-and-out"}, {})
    if order[-1] in ("pull-the-plug", "plug-in-and-out"):
        assert "volume" in order[:-1]


def test_has_the_aid_a_telecoil_is_asked_before_its_battery_is_changed():
    state = start(MODEL, "no-sound", OPTICAL).answer("listen-with-receiver", "good")
    order, _ = asked_before(state, {"fresh-battery"}, {"telecoil-programme": "same", "has-telecoil": "yes"})
    assert "fresh-battery" in order
    assert order.index("has-telecoil") < order.index("fresh-battery")


def test_somebody_who_passes_over_the_first_question_is_not_held_up_by_it():
    state = start(MODEL, "no-sound", OPTICAL).answer("listen-with-receiver", "good").excluding("has-telecoil")
    assert "fresh-battery" in asked_before(state, {"fresh-battery"}, {"telecoil-programme": "same"})[0]


@pytest.mark.parametrize("fault", ["plug-loose", "driver-selector", "driver-standby"])
def test_where_both_halves_are_shown_good_the_joint_the_selector_and_standby_are_looked_at(fault):
    state = start(MODEL, "no-sound", HEADPHONE)
    state = state.answer("player-into-line", "good").answer("headphones-at-end", "good")
    assert state.halves_good
    assert says.halves(state) == template("isolate/halves-good")
    looked, _ = asked_before(state, set(), {"plugs": "home", "selectors": "right", "driver-sleep": "none"})
    assert {"plugs", "selectors", "driver-sleep"} <= set(looked[:4])
    assert fault in [one for one, _ in state.likely[:4]]


def test_one_half_shown_good_is_not_both():
    state = start(MODEL, "no-sound", HEADPHONE).answer("player-into-line", "good")
    assert not state.halves_good
    assert says.halves(state) == ""


def telling() -> list[tuple[str, str, str]]:
    return [
        (test.id, complaint, answer)
        for test in MODEL.tests.values()
        if test.plain
        for complaint in MODEL.complaints
        if (complaint, "something-else") in test.rows
        for answer in test.answers
        if test.chance(complaint, "something-else", answer) < 0.05
    ]


@pytest.mark.parametrize(("test", "complaint", "answer"), telling())
def test_a_plain_look_that_shows_a_fault_leaves_little_to_something_else(test, complaint, answer):
    """Nobody sees a cap on a plug, or hears the sound come back, where the fault is another one."""
    rows = {fault: MODEL.tests[test].chance(complaint, fault, answer) for fault in MODEL.weights(complaint)}
    own = [fault for fault, chance in rows.items() if chance > 0.2]
    if own:
        needs = (MODEL.tests[test].needs, MODEL.faults[own[0]].needs)
        path = next(path for path in PATHS if all(path.share(one) == 1 for one in needs))
        state = start(MODEL, complaint, path).answer(test, answer)
        assert state.odds["something-else"] < 0.02
        assert sum(state.odds.get(fault, 0) for fault in own) > 0.85


def test_two_faults_at_once_are_named_only_where_the_answers_ask_for_it():
    # a cap that was overlooked at the first look is one fault, and one look that was wrong
    state = start(MODEL, "no-sound", OPTICAL)
    for test, said in (("plugs", "home"), ("driver-lights", "power"), ("red-glow", "cap")):
        state = state.answer(test, said)
    assert state.likely[0][0] == "cap-on-plug"
    assert state.contradiction is None or state.contradiction.pair is None
    assert "two faults" not in says.fault_says(MODEL, "something-else")


def test_what_mended_it_alone_is_no_half_of_a_pair():
    """Sound that came back with one step leaves no second fault."""
    state = start(MODEL, "no-sound", OPTICAL)
    for test, said in (("driver-lights", "protect"), ("listen-with-receiver", "good"), ("plugs", "loose")):
        state = state.answer(test, said)
    assert state.contradiction is None or state.contradiction.pair is None


def test_what_was_looked_at_and_sound_is_not_asked_again_after_a_repair():
    state = start(MODEL, "no-sound", OPTICAL)
    sound = (("plugs", "home"), ("terminals", "tight"), ("driver-levels", "up"), ("selectors", "right"))
    for test, said in sound:
        state = state.answer(test, said)
    assert state.answer("player-into-line", "same").repaired("wire-broken").answers == sound


# -- what the book knows of this set ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("complaint", "path", "fact", "fault", "more"),
    [
        ("no-sound", ANALOG, "level-fixed", "turned-down", False),
        ("weak", ANALOG, "level-fixed", "turned-down", False),
        ("no-sound", ANALOG, "level-variable", "turned-down", True),
        ("no-sound", OPTICAL, "format-pcm", "bitstream", False),
        ("no-sound", OPTICAL, "format-bitstream", "bitstream", True),
        ("no-sound", ANALOG, "input-alike", "wrong-jack", True),
        ("no-sound", ANALOG, "no-input-alike", "wrong-jack", False),
        ("no-sound", OPTICAL, "menu-noted", "output-off", True),
        ("no-sound", OPTICAL, "silent-here", "dead-output", True),
        ("speakers-dead", OPTICAL, "speakers-mute", "digital-out-mutes", True),
        ("speakers-dead", OPTICAL, "speakers-stay-on", "digital-out-mutes", False),
        ("speakers-dead", HEADPHONE, "speakers-mute", "plug-mutes", True),
        ("speakers-dead", ARC, "speakers-mute-unless-set", "menu-speakers-off", True),
    ],
)
def test_what_the_book_says_of_the_jack_makes_a_fault_likelier_or_not(complaint, path, fact, fault, more):
    before = start(MODEL, complaint, path).odds[fault]
    after = start(MODEL.with_facts({fact}), complaint, path).odds[fault]
    assert after > before * 1.3 if more else after < before * 0.7


def test_a_fact_that_concerns_no_fault_of_the_complaint_changes_nothing():
    told = MODEL.with_facts({"level-fixed"})
    assert told.weights("hum") == pytest.approx(MODEL.weights("hum"))


def test_the_finding_of_a_plug_in_the_wrong_socket_is_sure_enough_to_keep():
    state = start(MODEL, "no-sound", ANALOG).answer("jack-mark", "input")
    assert finding_of(state)["settled"]
