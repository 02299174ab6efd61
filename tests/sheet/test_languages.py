"""Sentences of the path and names of things are right in every language."""

from __future__ import annotations

from datetime import date

import pytest

from kb.base.errors import BadInput
from kb.base.messages import LANGUAGES, messages, text
from kb.catalogue import Carried, catalogue, item_name
from kb.domain.language import language
from kb.domain.words import (
    Basis,
    Colour,
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
    Word,
    word_kind,
)
from kb.path import Caution, CautionCode, RuledOut, RuledOutCode, Step, StepCode, sentence
from tests.sheet.sheets import page_of

OTHERS = [code for code in LANGUAGES if code != "en"]
WORDS: tuple[type[Word], ...] = (
    Kind, Display, Form, Colour, Direction, Signal, Carried, Level, Format, Speakers, Outcome, Basis,
    DriverInput,
)  # fmt: skip


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("kind", WORDS, ids=word_kind)
def test_every_word_has_a_name(code: str, kind: type[Word]) -> None:
    table = messages(code)
    named = [f"word/{word_kind(kind)}/{word.value}" in table for word in kind]
    declared = [code in word.names for word in kind]
    assert [word for word, one, two in zip(kind, named, declared, strict=True) if one is two] == [], (
        "each name is in one place: in the catalogue of messages, or declared with its word"
    )


@pytest.mark.parametrize("code", OTHERS)
def test_every_item_of_the_catalogue_has_a_name(code: str) -> None:
    for item in catalogue().items:
        assert ("{n}" in item.names[code]) is ("{n}" in item.family), item.name


def test_months_are_twelve_in_every_language() -> None:
    for code in LANGUAGES:
        days = {language(code).day(date(2026, month, 1), "a4") for month in range(1, 13)}
        assert len(days) == 12


def test_a_step_is_said_with_its_item_and_jack_in_spanish() -> None:
    values = (("item", "optical cable 2 m"), ("form", Form.TOSLINK), ("marking", "OPTICAL OUT"))
    assert (
        sentence(Step(StepCode.PLUG_JACK, values), language("es"))
        == "Conecte el cable óptico de 2 m en la toma óptica rotulada OPTICAL OUT."
    )


@pytest.mark.parametrize("code", LANGUAGES)
@pytest.mark.parametrize("kind", Kind)
def test_a_sentence_speaks_of_the_source_and_of_what_has_the_speakers(code: str, kind: Kind) -> None:
    said = sentence(Step(StepCode.TEST, (("kind", kind),), "may-mute"), language(code))
    assert text(f"path/part/owner/{kind}", code) in said
    assert text(f"path/part/whose/{kind}", code) in said


def test_a_box_has_its_own_menu_and_the_speakers_of_the_television_in_spanish() -> None:
    box = (("kind", Kind.SET_TOP_BOX),)
    assert sentence(Step(StepCode.SET_PCM, box), language("es")) == (
        "En el menú de sonido del decodificador ponga el formato de sonido digital en PCM estéreo."
    )
    assert sentence(Step(StepCode.PLACE_MICROPHONE, (("item", "microphone"), *box)), language("es")) == (
        "Ponga el micrófono cerca del altavoz del televisor, sobre algo blando."
    )
    assert sentence(Caution(CautionCode.THIS_BOX_ONLY, box), language("es")) == (
        "El bucle solo lleva lo que se ve a través de este aparato (decodificador)."
    )


def test_an_optical_plug_is_pushed_until_it_clicks_in_spanish() -> None:
    values = (("item", "optical cable 2 m"), ("input", DriverInput.OPTICAL), ("click", "yes"))
    assert sentence(Step(StepCode.PLUG_DRIVER, values, "other-end"), language("es")) == (
        "Conecte el otro extremo del cable óptico de 2 m en la entrada óptica del amplificador "
        "y empuje hasta que haga clic."
    )


def test_a_number_has_the_decimal_sign_of_its_language() -> None:
    late = Caution(CautionCode.LATE, (("delay_ms", 42.5), ("limit_ms", 45.0)))
    assert "42,5 ms" in sentence(late, language("es"))
    assert "42.5 ms" in sentence(late, language("en"))


def test_what_a_jack_failed_with_is_said_in_spanish() -> None:
    out = RuledOut(0, "OPTICAL", RuledOutCode.KNOWN_NOT_TO_WORK, (("silent", 2), ("distorted", 1)))
    assert sentence(out, language("es")) == "Probada aquí sin éxito: muda 2, distorsionada 1."
    assert sentence(out, language("en")) == "Tried here without success: silent 2, distorted 1."


def test_text_of_people_never_becomes_a_placeholder() -> None:
    values = (("item", "DAC"), ("form", Form.TOSLINK), ("marking", "{item} {nothing} {0}"))
    assert "{item} {nothing} {0}" in sentence(Step(StepCode.PLUG_JACK, values), language("es"))


def test_feet_and_inches_stand_beside_the_length_of_a_cable() -> None:
    # 2 m / 0.0254 = 78.7 in: 6 ft 7 in
    assert item_name("optical cable 2 m", language("en", feet=True)) == "optical cable 2 m (6 ft 7 in)"
    assert language("en", feet=True).length(3.0) == "9 ft 10 in"
    assert language("es").length(1.5) == "1,5 m"


def test_a_language_that_is_not_there_is_named() -> None:
    with pytest.raises(BadInput, match="one of en, es"):
        language("../en")


@pytest.mark.parametrize("lang", ["en", "es"])
def test_whom_to_call_stands_on_the_page_of_a_set_without_a_path_as_well(lang: str) -> None:
    page = page_of({"form": "rca-pair", "marking": "AUDIO"}, lang=lang, contact="Oxmarle Loops, 555 0100")
    client = page.split('class="file')[0]
    assert language(lang)("sheet/connected/call", colon=": ").strip() in client
    assert "Oxmarle Loops, 555 0100" in client
