"""What must always hold of an answer, and what programs may rely on."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import kb.catalogue
import kb.path
from kb.base.errors import BadInput
from kb.base.messages import messages
from kb.catalogue import CautionCode, StepCode, catalogue
from kb.domain.jack import Jack
from kb.domain.panel import Dispute, Panel, PanelJack
from kb.domain.words import (
    Direction,
    Display,
    DriverInput,
    Form,
    Format,
    Kind,
    Level,
    Outcome,
    Signal,
    Speakers,
)
from kb.path import (
    Connection,
    Path,
    QuestionCode,
    RuledOutCode,
    Tier,
    best_to_json,
    chain,
    connect,
    to_json,
)
from tests.path.panels import LINE, OPTICAL, ask, chosen, panel

# -- any panel at all ------------------------------------------------------------------------------

_OUTCOMES = st.lists(
    st.tuples(st.sampled_from([o for o in Outcome if o is not Outcome.NOT_TRIED]), st.integers(1, 5)),
    max_size=3,
    unique_by=lambda pair: pair[0],
).map(tuple)
_TWO_SIGNALS = ("LINE OUT/OPTICAL", "HEADPHONE/OPTICAL OUT")
_JACKS = st.builds(
    PanelJack,
    jack=st.builds(
        Jack,
        form=st.sampled_from(Form),
        marking=st.sampled_from(
            ["", "OUT", "AUDIO", "[bold]x[/bold]", "{item}", "\x1b[31m", *_TWO_SIGNALS, "OUT L", "OUT R"]
        ),
        direction=st.sampled_from([Direction.OUTPUT, Direction.OUTPUT, *Direction]),
        signal=st.one_of(st.none(), st.sampled_from(Signal)),
        level=st.sampled_from(Level),
        format=st.sampled_from(Format),
    ),
    speakers=st.sampled_from(Speakers),
    taken=st.booleans(),
    findings=st.integers(0, 9),
    outcomes=_OUTCOMES,
    settings=st.lists(st.sampled_from(["sound: PCM", "speaker on", "{jack}"]), max_size=2).map(tuple),
)
_SENSIBLE = st.sampled_from(
    [
        (Form.RCA_PAIR, Signal.ANALOG_LINE),
        (Form.JACK_35, Signal.HEADPHONE),
        (Form.TOSLINK, Signal.OPTICAL),
        (Form.RCA_SINGLE, Signal.COAXIAL),
        (Form.HDMI, Signal.ARC),
        (Form.SCART, Signal.ANALOG_LINE),
        (Form.SPEAKER_TERMINALS, Signal.SPEAKER_LEVEL),
        (Form.BLUETOOTH, Signal.WIRELESS),
        (Form.RCA_SINGLE, Signal.ANALOG_LINE),
    ]
).flatmap(
    lambda pair: st.builds(
        PanelJack,
        jack=st.builds(
            Jack,
            form=st.just(pair[0]),
            marking=st.sampled_from(["OUT", "OUT L", "OUT R", *_TWO_SIGNALS]),
            direction=st.just(Direction.OUTPUT),
            signal=st.just(pair[1]),
            level=st.sampled_from(Level),
        ),
        speakers=st.sampled_from(Speakers),
        taken=st.booleans(),
        outcomes=_OUTCOMES,
    )
)
PANELS = st.lists(st.one_of(_JACKS, _SENSIBLE), max_size=5).map(lambda jacks: Panel(tuple(jacks)))
INPUTS = st.lists(st.sampled_from(DriverInput), min_size=1, unique=True)
HAVE = st.lists(st.sampled_from(sorted(item.name for item in catalogue().items)), max_size=6)
NEEDED = st.booleans()


def paths(answer: Connection) -> list[Path]:
    return [*([answer.chosen] if answer.chosen else []), *answer.others]


def lasting(answer: Connection) -> set[tuple[object, ...]]:
    """The paths that are no last resort; last resorts step back as soon as anything better is there."""
    found = [path for path in paths(answer) if not path.tier.last_resort]
    return {(jack, path.input) for path in found for jack in path.jacks}


@given(PANELS, INPUTS, HAVE, NEEDED, st.sampled_from(Kind), st.sampled_from(Display))
def test_every_jack_is_chosen_or_an_alternative_or_ruled_out(
    seen: Panel, inputs: list[DriverInput], have: list[str], needed: bool, kind: Kind, display: Display
) -> None:
    answer = connect(seen, inputs, have=have, speakers_needed=needed, kind=kind, display=display)
    offered = {jack for path in paths(answer) for jack in path.jacks}
    assert all(path.jacks[:1] == (() if path.jack is None else (path.jack,)) for path in paths(answer))
    out = [one.jack for one in answer.ruled_out]
    assert sorted([*offered, *out]) == list(range(len(seen.jacks)))
    for path in paths(answer):
        assert path.input in inputs
        if path.jack is not None:
            jack = seen.jacks[path.jack].jack
            by_kind = kind is not Kind.TELEVISION and jack.form in (Form.HDMI, Form.USB)
            assert jack.direction is Direction.OUTPUT or by_kind
        if needed:
            assert path.speakers is not Speakers.MUTE
    ranks = [path.cost for path in paths(answer)]
    assert ranks == sorted(ranks)


@given(PANELS, INPUTS, HAVE, NEEDED, st.sampled_from(Kind))
def test_everything_can_be_said_and_nothing_people_typed_steers_a_terminal(
    seen: Panel, inputs: list[DriverInput], have: list[str], needed: bool, kind: Kind
) -> None:
    answer = connect(seen, inputs, have=have, speakers_needed=needed, kind=kind)
    said = to_json(answer)
    for path in paths(answer):
        assert all(label and label.isprintable() for label in chain(path, seen))
    texts: list[str] = [said["dac"]["why"], *said["ask"], *(one["why"] for one in said["ruled_out"])]
    for path in [said["chosen"], *said["others"]]:
        if path is not None:
            texts += path["steps"] + [one["text"] for one in path["cautions"]]
    assert all(text[0].isupper() and text[-1] in ".?" and text.isprintable() for text in texts), texts
    json.dumps(said)


@given(PANELS, INPUTS, HAVE, HAVE, NEEDED)
def test_more_to_hand_never_makes_the_choice_worse(
    seen: Panel, inputs: list[DriverInput], have: list[str], more: list[str], needed: bool
) -> None:
    less = connect(seen, inputs, have=have, speakers_needed=needed)
    full = connect(seen, inputs, have=[*have, *more], speakers_needed=needed)
    if less.chosen is None:
        assert full.chosen is None
    else:
        assert full.chosen is not None
        assert full.chosen.cost <= less.chosen.cost
    assert lasting(less) <= lasting(full)


@given(PANELS, INPUTS, st.sampled_from(DriverInput), NEEDED)
def test_another_input_of_the_driver_never_loses_a_path(
    seen: Panel, inputs: list[DriverInput], more: DriverInput, needed: bool
) -> None:
    less = connect(seen, inputs, speakers_needed=needed)
    full = connect(seen, [*inputs, more], speakers_needed=needed)
    # An ADC, or a sender, is no longer offered once the driver takes the jack as it is.
    assert {jack for jack, _ in lasting(less)} <= {jack for jack, _ in lasting(full)}
    if less.chosen is not None:
        assert full.chosen is not None
        assert full.chosen.cost <= less.chosen.cost


@given(PANELS, INPUTS)
def test_free_speakers_never_lose_a_path(seen: Panel, inputs: list[DriverInput]) -> None:
    needed = connect(seen, inputs)
    free = connect(seen, inputs, speakers_needed=False)
    assert lasting(needed) <= lasting(free)
    if needed.chosen is not None:
        assert free.chosen is not None
        assert free.chosen.cost <= needed.chosen.cost


@given(PANELS, INPUTS, HAVE)
def test_the_same_question_gets_the_same_answer(
    seen: Panel, inputs: list[DriverInput], have: list[str]
) -> None:
    first = connect(seen, inputs, have=have)
    kb.path.chains.cache_clear()
    assert connect(seen, list(reversed(inputs)), have=list(reversed(have))) == first


@given(PANELS, INPUTS, HAVE, NEEDED)
def test_the_dac_rule_is_exact(seen: Panel, inputs: list[DriverInput], have: list[str], needed: bool) -> None:
    """Needed exactly when every acceptable output is digital and the driver takes none of its forms,
    directly or after a form converter that is to hand; told here in its own words."""
    answer = connect(seen, inputs, have=have, speakers_needed=needed)
    assume(answer.chosen is not None and answer.chosen.tier <= Tier.DOUBTFUL)
    assert answer.chosen is not None
    # Where nothing is beyond doubt, the doubtful is all there is to accept.
    worst = Tier.DOUBTFUL if answer.chosen.tier is Tier.DOUBTFUL else Tier.TO_BUY
    signals = {path.signal for path in paths(answer) if path.tier <= worst}
    analog = signals - {Signal.OPTICAL, Signal.COAXIAL, Signal.ARC, Signal.EARC}
    forms = {signal.value for signal in signals}
    if forms & {"arc", "earc"}:
        forms.add("optical")  # what comes out of an ARC extractor, which is needed in any case
    if "optical to coaxial converter" in have and "optical" in forms:
        forms.add("coaxial")
    if "coaxial to optical converter" in have and "coaxial" in forms:
        forms.add("optical")
    takes = {word.value for word in inputs} & forms
    dac_is_of_use = any(one.analog or one is DriverInput.BLUETOOTH for one in inputs)
    assert answer.dac.needed == (not analog and not takes and dac_is_of_use)
    assert answer.dac.needed == answer.chosen.needs_dac


# -- for programs ----------------------------------------------------------------------------------


def test_the_json_has_the_keys_that_programs_know() -> None:
    said = to_json(ask(OPTICAL, {"form": "toslink", "marking": ""}, LINE))
    assert set(said) == {"chosen", "others", "ruled_out", "dac", "ask"}
    keys = "jack signal items input needs_dac speakers steps cautions p_works findings delay_ms level".split()
    keys += ["trials", "converter", "jacks"]
    for path in [said["chosen"], *said["others"]]:
        assert list(path) == keys
        assert all(set(one) == {"code", "text"} for one in path["cautions"])
        assert 0 <= path["p_works"] <= 1
    assert [set(one) for one in said["ruled_out"]] == [{"jack", "marking", "code", "why"}]
    assert set(said["dac"]) == {"needed", "why"}
    assert to_json(ask())["chosen"] is None
    assert json.loads(json.dumps(said)) == said


def test_find_gets_the_best_path_in_short() -> None:
    assert best_to_json(ask(OPTICAL)) == {
        "signal": "optical",
        "items": ["optical cable 2 m", "DAC", "RCA pair to 3.5 mm cable 2 m"],
        "needs_dac": True,
        "speakers": "unknown",
    }
    assert best_to_json(ask()) is None


def test_the_codes_are_those_that_programs_know() -> None:
    assert {code.value for code in RuledOutCode} == set(
        "not-an-output direction-unclear taken mutes-speakers no-way-to-input not-audio known-not-to-work "
        "speaker-level-unsafe late".split()
    )
    assert {code.value for code in CautionCode} == set(
        "set-pcm selector remove-caps may-mute-speakers mutes-speakers restores-in-menu this-box-only "
        "sum-not-y isolate splitter-loss long-cable late variable-level check-manual hum own-power "
        "never-open mic-last-resort constant-voltage shared-pcm av-wiring "
        "copy-protected low-level radio".split()
    )


def test_programs_get_what_is_believed_where_visits_disagree() -> None:
    seen = panel(LINE).jacks[0]
    told = Dispute("speakers", (("stay-on", 2), ("mute", 1)))
    answer = connect(Panel((replace(seen, speakers=Speakers.STAY_ON, disputes=(told,)),)), ["line-3.5"])
    assert answer.chosen is not None
    assert answer.chosen.disputed == ("speakers",)
    assert to_json(answer)["chosen"]["speakers"] == "stay-on"


def test_every_code_has_a_sentence() -> None:
    for kind, codes in {
        "step": StepCode,
        "caution": CautionCode,
        "ruled-out": RuledOutCode,
        "question": QuestionCode,
    }.items():
        for code in codes:
            assert any(key.startswith(f"path/{kind}/{code.value}") for key in messages()), code


def test_a_path_is_one_line_of_arrows() -> None:
    assert chain(chosen(OPTICAL), panel(OPTICAL)) == (
        "OPTICAL OUT",
        "optical cable 2 m",
        "DAC",
        "RCA pair to 3.5 mm cable 2 m",
        "driver, 3.5 mm line input",
    )
    assert chain(chosen(inputs=("mic",)), panel())[0] == "the set's loudspeaker"


@pytest.mark.parametrize("module", [kb.path, kb.catalogue])
def test_what_is_exported_is_there_and_sorted(module: Any) -> None:
    assert all(hasattr(module, name) for name in module.__all__)
    assert module.__all__ == sorted(
        module.__all__, key=lambda name: (not name.isupper(), name[0].islower(), name)
    )


# -- bad input -------------------------------------------------------------------------------------


@pytest.mark.parametrize("length", [-1, math.nan, math.inf, 100.1])
def test_a_length_that_is_none_is_refused(length: float) -> None:
    with pytest.raises(BadInput, match=r"length: saw .* expected metres"):
        ask(LINE, length_m=length)


def test_a_driver_without_inputs_is_refused() -> None:
    with pytest.raises(BadInput, match="inputs"):
        connect(panel(LINE), [])
    with pytest.raises(BadInput, match=r"expected line-3\.5"):
        connect(panel(LINE), ["line-3.4"])


def test_an_unknown_item_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(BadInput, match="perhaps 'optical cable 2 m'"):
        ask(LINE, have=["optical cabel 2m"])
    with pytest.raises(BadInput, match="have: saw"):
        ask(LINE, have=["\x1b[31m" * 100])
    assert ask(OPTICAL, have=["dac"]) == ask(OPTICAL, have=["DAC"])
