"""The table of connectors and the table of driver inputs agree with themselves and with the catalogue."""

from __future__ import annotations

import pytest

from kb.base.errors import BadInput
from kb.base.text import cells, squeezed
from kb.catalogue import catalogue
from kb.domain import shortform
from kb.domain.words import DriverInput, Form, Word


def test_no_short_name_means_two_things() -> None:
    names = [short.name for form in Form for short in form.short]
    assert sorted(names) == sorted(shortform.FORMS)
    for name in names:  # a short name that is a form's own name means that form
        assert name not in set(Form) or shortform.FORMS[name][0] is Form(name)


@pytest.mark.parametrize("words", [Form, DriverInput])
def test_no_everyday_name_means_two_things(words: type[Word]) -> None:
    named = [(squeezed(said), one) for one in words for said in {one.value, one.label, *one.also}]
    meant = {said: {one for name, one in named if name == said} for said, _ in named}
    assert {said: found for said, found in meant.items() if len(found) > 1} == {}


@pytest.mark.parametrize("form", Form)
def test_a_form_is_read_by_its_label_and_by_its_everyday_names(form: Form) -> None:
    for said in (form.label, form.label.upper(), form.value.replace("-", " "), *form.also):
        assert Form.read(said, "form") is form


def test_a_balanced_input_a_100_volt_line_and_a_microphone_have_one_channel() -> None:
    # XLR and TRS carry one balanced channel (IEC 61938); 100 V lines and microphones one (common practice).
    mono = {given.value for given in DriverInput if given.mono}
    assert mono == {"mic", "line-xlr", "line-6.35-balanced", "line-100v"}


def test_a_word_that_is_near_to_one_is_still_refused() -> None:
    with pytest.raises(BadInput, match="expected toslink"):
        Form.read("tosslink", "form")


@pytest.mark.parametrize("form", Form)
def test_the_sign_of_the_terminal_takes_at_most_two_places(form: Form) -> None:
    assert 1 <= cells(form.sign) <= 2


@pytest.mark.parametrize("form", [form for form in Form if form.carries and not form.always])
def test_some_item_or_input_mates_with_every_form_that_carries_sound(form: Form) -> None:
    ends = {near.form for item in catalogue().items for near in item.near}
    assert form in ends | {one.socket for one in DriverInput}


@pytest.mark.parametrize("given", DriverInput)
def test_an_item_ends_in_the_socket_of_every_input(given: DriverInput) -> None:
    assert given.takes
    assert given.source
    assert given.socket in {far.form for item in catalogue().items for far in item.far}
