"""What the fault search says is short, complete in every language, and answered as it is printed."""

from __future__ import annotations

import io
import tomllib

import pytest
from isolate_trial import greedy, path_used
from rich.console import Console

from kb.base.datafiles import data_file, data_tables
from kb.base.messages import LANGUAGES, messages
from kb.book.faults import load_model
from kb.cli.isolate_dialog import talk
from kb.domain.language import ENGLISH, language
from kb.isolate import State, model_from, start, wording

MODEL = load_model()
FILE = tomllib.loads(data_file("faults.toml").read_text("utf-8"))
#: A path with most parts, so that its first line is long.
ARC = path_used("arc", ("HDMI cable 1 m", "ARC extractor", "3.5 mm cable 2 m"), "line-3.5")


@pytest.mark.parametrize("code", LANGUAGES[1:])
def test_every_text_of_the_faults_is_translated(code: str) -> None:
    other = load_model(code)
    for kind in ("complaint", "tool", "fault", "test"):
        for entry in FILE[kind]:
            assert code in entry, f"{kind} {entry['id']} has no texts in {code}"
    for own, translated in zip(MODEL.faults.values(), other.faults.values(), strict=True):
        assert own.says != translated.says
        assert bool(own.caution) == bool(translated.caution)
    for test, translated in zip(MODEL.tests.values(), other.tests.values(), strict=True):
        assert test.asks != translated.asks
        assert list(test.answers) == list(translated.answers)
        assert test.rows == translated.rows


def test_a_fault_without_a_translation_stays_english() -> None:
    data = data_tables("faults.toml")
    del data["fault"][0]["es"]
    assert model_from(data, "es").faults["source-muted"].says == MODEL.faults["source-muted"].says


@pytest.mark.parametrize("code", LANGUAGES)
def test_no_sentence_of_the_faults_is_longer_than_twenty_five_words(code: str) -> None:
    long = [
        sentence
        for kind in ("fault", "test")
        for entry in FILE[kind]
        for key in ("says", "mend", "caution", "asks", "how")
        for sentence in (entry if code == "en" else entry[code])
        .get(key, "")
        .replace(":", ".")
        .replace(";", ".")
        .replace("?", ".")
        .split(".")
        if len(sentence.split()) > 25
    ]
    assert long == []


def test_the_driver_goes_down_before_a_test_that_can_be_loud_in_a_telecoil() -> None:
    """Plugs that are pulled under a signal, a mute that ends, a selector that moves: common practice."""
    for name in (
        "player-into-line source-plays plugs menu swap-cable selectors swap-converter driver-outlet "
        "input-out headphones-at-end transformer-in other-driver"
    ).split():
        assert wording.how(MODEL.tests[name]).startswith(str(messages()["isolate/level-down"])), name
    for name in ("driver-lights", "hum-walk", "jack-mark", "has-telecoil"):
        assert wording.how(MODEL.tests[name]) == MODEL.tests[name].how


def shown(*typed: str, code: str = "en", complaint: str = "no-sound") -> list[str]:
    """What the terminal shows between one prompt and the next."""
    lines, screens, out = list(typed), [], io.StringIO()

    def read(_: str) -> str | None:
        screens.append(out.getvalue())
        out.truncate(0)
        out.seek(0)
        return lines.pop(0) if lines else None

    talk(
        start(load_model(code), complaint, ARC),
        Console(file=out, width=80),
        read,
        lambda _: None,
        language(code),
    )
    return screens


@pytest.mark.parametrize("code", LANGUAGES)
@pytest.mark.parametrize("complaint", list(MODEL.complaints))
def test_every_screen_of_a_talk_fits_24_lines(code: str, complaint: str) -> None:
    model = load_model(code)
    state = start(model, complaint, ARC)
    typed = []
    while state.next_test:
        test = state.next_test.test
        typed.append(answer := list(test.answers)[-1])
        state = state.answer(test.id, answer)
    first, *rest = shown(*typed, code=code, complaint=complaint)
    assert len(first.splitlines()) + 1 <= 24 + 4  # what is said once at the start may scroll away
    assert [screen for screen in rest if len(screen.splitlines()) + 1 > 24] == []


def test_an_answer_is_taken_as_it_is_printed() -> None:
    found = start(MODEL, "no-sound", ARC).next_test
    assert found is not None
    for answer, looks in found.test.answers.items():
        for said in (answer, looks, f"{looks} ({answer})"):
            kept: list[State] = []
            lines = [said, None]
            out = Console(file=io.StringIO(), width=80)
            talk(
                start(MODEL, "no-sound", ARC), out, lambda _, lines=lines: lines.pop(0), kept.append, ENGLISH
            )
            assert kept[0].answers == ((found.test.id, answer),)


def test_good_and_mended_with_a_number_mean_the_fault_of_that_number() -> None:
    begun = start(MODEL, "no-sound", ARC)
    out = Console(file=io.StringIO(), width=80)
    lines = ["mended 2", None]
    state = talk(begun, out, lambda _: lines.pop(0), lambda _: None, ENGLISH)
    assert state.mended_faults == (begun.likely[1][0],)
    screen = shown()[0]
    third = next(line for line in screen.splitlines() if line.startswith("3 "))
    assert MODEL.faults[begun.likely[2][0]].says in third


def test_why_a_test_comes_next_is_told_when_it_is_asked() -> None:
    _, told = shown("w")
    assert "this test tells the most" in " ".join(told.split())
    assert greedy(start(MODEL, "no-sound", ARC)) is not None


def test_the_path_is_told_from_signal_to_input_as_far_as_it_is_known() -> None:
    assert (
        wording.path_text(ARC)
        == "HDMI ARC, HDMI cable 1 m, ARC extractor, 3.5 mm cable 2 m, into 3.5 mm line input"
    )
    assert wording.path_text(path_used("", (), "optical")) == "into optical input"
    assert wording.path_text(path_used("", (), "")) == "not known"


def test_the_signal_is_asked_for_only_while_it_is_not_known() -> None:
    assert wording.ask(start(MODEL, "hum", path_used("", (), "optical"))).startswith("Which signal")
    assert wording.ask(start(MODEL, "hum", ARC)) == ""
