"""A usual set in one line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.base.text import squeezed
from kb.domain import marking, shortform
from kb.domain.shortform import FORMS, WORDS, jack, jacks, written
from kb.domain.visit import finding_from
from kb.domain.words import (
    Direction,
    Form,
    Format,
    Level,
    Outcome,
    Signal,
    Speakers,
    spellings,
    typed_words,
    word_kind,
)


def test_a_typical_panel_fits_in_three_words() -> None:
    optical, phones, audio = jacks(["opt=OPTICAL OUT:ok,pcm", "hp:mute", "rca=AUDIO:in"])
    assert (optical.jack.signal, optical.outcome, optical.jack.format) == (
        Signal.OPTICAL,
        Outcome.CARRIED,
        Format.PCM,
    )
    assert (phones.jack.signal, phones.speakers) == (Signal.HEADPHONE, Speakers.MUTE)
    assert audio.jack.direction is Direction.INPUT


@pytest.mark.parametrize(
    ("token", "direction"),
    [
        ("rca=AUDIO", "input"),
        ("rca=AUDIO OUT", "output"),
        ("opt=OPTICAL IN", "input"),
        ("opt=DIGITAL AUDIO", "unclear"),
        ("hp=MIC", "input"),
        ("rca", "unclear"),
        ("opt:pcm", "unclear"),
        ("rca:ok", "output"),  # sound came out
        ("rca:out", "output"),  # somebody vouches for it
        ("hp", "output"),  # the sign of a headphone is a mark
        ("arc=HDMI 2", "output"),
        ("hdmi", "input"),  # only ARC and eARC give sound back
    ],
)
def test_the_mark_decides_as_in_a_visit_file(token: str, direction: str) -> None:
    assert jack(token).jack.direction.value == direction


def test_a_question_mark_leaves_the_direction_unclear() -> None:
    assert jack("rca?").jack.direction is Direction.UNCLEAR


def test_a_mark_may_hold_a_colon() -> None:
    assert jack("rca=OUT: FIXED").jack.marking == "OUT: FIXED"
    assert jack("rca=OUT: FIXED:ok").outcome is Outcome.CARRIED


@pytest.mark.parametrize(
    ("token", "named"),
    [
        ("rca=AUDIO OUT:o,var,ok", "'o', expected ok"),
        ("opt=X:o", "'o', expected ok"),
        ("opt=OPTICAL OUT:ok,pmc", "'pmc', expected pcm"),
        ("hp=PHONES:slient", "'slient', expected silent"),
        ("hp=PHONES:ok,loud", "'loud', expected one of"),
    ],
)
def test_a_mistyped_word_after_a_mark_is_named_and_what_was_found_is_not_lost_in_the_mark(
    token: str, named: str
) -> None:
    with pytest.raises(BadInput, match=named):
        jack(token)


@pytest.mark.parametrize("mark", ["digital out:optical", "OUT:OK", "out: left", "hdmi 1:arc"])
def test_a_mark_with_a_colon_and_no_word_of_ours_stays_a_mark(mark: str) -> None:
    assert jack(f"rca={mark}").jack.marking == mark


def test_a_stored_mark_that_ends_like_a_mistyped_word_is_written_so_that_it_can_be_read() -> None:
    again = written({"form": "rca-pair", "marking": "left:vari", "outcome": "carried"})
    assert jack(again).outcome is Outcome.CARRIED
    for mark in ("ok", "left:vari", "AUDIO:ok", "AUDIO: ok", "AUDIO:", "OUT:OK"):
        assert jack(written({"form": "rca-pair", "marking": mark})).jack.marking == mark
        assert jack(written({"form": "rca-pair", "marking": mark, "taken": True})).jack.marking == mark


def test_who_calls_a_jack_without_a_mark_a_headphone_jack_vouches_for_an_output() -> None:
    told = finding_from({"form": "jack-3.5", "signal": "headphone"}, "jack")
    assert (told.jack.direction, told.why()) == (Direction.OUTPUT, "as you say")
    marked_in = finding_from({"form": "jack-3.5", "signal": "headphone", "marking": "AUDIO IN"}, "jack")
    assert marked_in.jack.direction is Direction.INPUT


def test_an_outcome_after_the_wrong_sign_is_not_lost_in_the_mark() -> None:
    slip = jack("opt=ok,pcm")
    assert (slip.outcome, slip.jack.marking, slip.jack.format.value) == (Outcome.CARRIED, "", "pcm")
    for mark in ("out", "fixed", "OK", "ok left"):
        assert jack(f"rca={mark}").jack.marking == mark


def test_speakers_that_stay_on_may_be_typed_as_stay() -> None:
    assert jack("opt:ok,stay").speakers.value == "stay-on"
    with pytest.raises(BadInput, match="expected stay "):
        jack("opt:ok,stai")


def test_a_headphone_jack_may_be_one_whose_direction_nobody_knows() -> None:
    for token in ("hp?", "hp:unclear"):
        assert (jack(token).jack.direction, jack(token).jack.signal) == (Direction.UNCLEAR, Signal.HEADPHONE)


def test_a_short_name_that_says_what_is_printed_makes_an_output_and_one_of_the_socket_alone_does_not() -> (
    None
):
    assert {name for name in FORMS if jack(name).jack.direction is Direction.OUTPUT} >= {
        "hp",
        "hp6",
        "arc",
        "earc",
    }
    assert {jack(name).jack.direction.value for name in ("rca", "opt", "coax")} == {"unclear"}


@pytest.mark.parametrize(
    "said",
    [
        {"form": "jack-3.5", "marking": "HEADPHONE"},
        {"form": "hdmi", "marking": "HDMI ARC"},
        {"form": "jack-6.35", "marking": "HEADPHONE"},
        {"form": "jack-3.5", "marking": "HEADPHONE", "signal": "headphone", "direction": "output"},
        {"form": "hdmi", "marking": "HDMI ARC", "signal": "arc", "direction": "output"},
    ],
)
def test_what_a_mark_tells_is_not_written_as_if_a_person_had_said_it(said: dict[str, str]) -> None:
    again, before = jack(written(said)), finding_from(said, "jack")
    assert again.jack == before.jack
    assert ("direction" in again.inferred) is ("direction" not in said)


@pytest.mark.parametrize("direction", ["", *Direction])
@pytest.mark.parametrize("form", Form)
def test_a_jack_is_never_written_as_one_of_another_signal(form: Form, direction: str) -> None:
    for signal in form.carries:
        said = {"form": form.value, "signal": signal.value, "direction": direction}
        meant = finding_from({key: value for key, value in said.items() if value}, "jack")
        assert jack(written(said)).jack.signal in (None, meant.jack.signal)


def test_forms_may_be_written_out() -> None:
    assert jack("speaker-terminals").jack.form is Form.SPEAKER_TERMINALS


@pytest.mark.parametrize(
    ("token", "named"),
    [
        ("optic:ok", "optic"),
        ("opt:okey", "ok"),
        ("opt:ok,silent", "only one word for outcome"),
        ("", "jack"),
        (":ok", "jack"),
        ("opt=" + "x" * 500, "marking"),
        ("opt=a\x1bb", "marking"),
    ],
)
def test_a_mistake_is_named_with_the_words_there_are(token: str, named: str) -> None:
    with pytest.raises(BadInput, match=named):
        jack(token)


def test_what_the_sets_speakers_do_is_said_in_its_own_word_or_a_short_one() -> None:
    words = {"stay-on": "stay-on", "on": "stay-on", "mute": "mute"}
    words |= {"mute-unless-set": "mute-unless-set", "menu": "mute-unless-set"}
    assert {word: jack(f"hp:{word}").speakers for word in words} == words
    with pytest.raises(BadInput, match="unknown"):
        jack("hp:unknown")  # what nobody knows is left out


@given(
    st.sampled_from(sorted(FORMS)),
    st.lists(st.sampled_from(sorted(WORDS)), max_size=3, unique_by=lambda w: WORDS[w][0]),
)
def test_every_form_goes_with_every_word(form: str, words: list[str]) -> None:
    finding = jack(f"{form}:{','.join(words)}")
    for word in words:
        field, value = WORDS[word]
        found = getattr(finding, field) if hasattr(finding, field) else getattr(finding.jack, field)
        assert found == value


@given(st.text(max_size=60))
def test_any_token_is_a_jack_or_a_named_mistake(token: str) -> None:
    try:
        said = repr(jack(token))
    except BadInput as mistake:
        said = str(mistake)
    assert said


@pytest.mark.parametrize(("typed", "stated"), [("rca=AUDIO IN:out", "output"), ("rca=AUDIO OUT:in", "input")])
def test_a_persons_word_outranks_the_mark_and_the_mark_is_kept(typed: str, stated: str) -> None:
    printed = jack(typed).jack
    assert printed.direction == stated
    assert printed.marking == typed.removeprefix("rca=").partition(":")[0]
    assert marking.against(printed.form, printed.marking, printed.colour, printed.direction) is not None


# -- other people's words --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "english"),
    [
        ("óptica:silencio", "opt:silent"),
        ("optisch:stumm", "opt:silent"),
        ("optique:pas de son", "opt:silent"),
        ("cascos", "hp"),
        ("auriculares:ok,callan", "hp:ok,mute"),
        ("Kopfhörer:geht,stumm", "hp:ok,mute"),  # with an outcome, the speakers are meant
        ("casque:marche,muets", "hp:ok,mute"),
        ("línea=AUDIO OUT:zumba,fijo", "line=AUDIO OUT:hum,fixed"),
        ("koax=DIGITAL OUT:läuft,an", "coax=DIGITAL OUT:ok,on"),
        ("euroconector=EXT 1:débil,ocupada", "scart=EXT 1:weak,taken"),
        ("péritel:son,libre", "scart:ok,free"),
        ("Altavoces:salida", "spk:out"),
    ],
)
def test_an_installer_types_what_was_found_in_spanish_german_or_french(typed: str, english: str) -> None:
    own, said = jack(typed), jack(english)
    assert (own.jack, own.outcome, own.speakers) == (said.jack, said.outcome, said.speakers)


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ("kopfhörer:stumm", "silent .outcome. or mute .speakers."),  # no sound at the jack, or from the set?
        ("cascos:silencio", "silent .outcome. or mute .speakers."),
        ("rca:aus", "mute .speakers. or out .direction."),
        ("auriculres:ok", "auriculares"),
        ("opt:silensio", "silencio"),
    ],
)
def test_a_word_that_may_mean_two_things_or_is_mistyped_is_refused_with_the_words_there_are(
    typed: str, named: str
) -> None:
    with pytest.raises(BadInput, match=f"expected {named}"):
        jack(typed)


def test_no_word_of_another_language_takes_an_english_word_away() -> None:
    fields = (Outcome, Speakers, Direction, Level, Format)
    english = {
        squeezed(one): words for words in fields for word in words for one in (word, word.label, *word.also)
    }
    for words in fields:
        for typed, value in typed_words(word_kind(words)):
            assert value in {*words}
            assert english.get(squeezed(typed), words) is words, typed
            assert typed not in WORDS
    for typed, name in typed_words("form"):
        assert name in FORMS or Form(name)
        assert typed not in FORMS
        meant = {of for spelled, of in spellings(Form) if squeezed(spelled) == squeezed(typed)}
        assert meant <= {name, *({FORMS[name][0].value} if name in FORMS else ())}, typed


@pytest.mark.parametrize(
    ("typed", "meant"), [("sil", "silent"), ("siletn", "silent"), ("cariied", "carried"), ("zzz", "")]
)
def test_a_word_typed_by_half_or_with_a_slip_is_known_by_its_beginning_or_its_letters(
    typed: str, meant: str
) -> None:
    assert shortform._near(typed) == meant
