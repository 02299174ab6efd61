"""A visit from the set into the book: inferred as everywhere, once only, and never lost."""

from __future__ import annotations

import re
import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.domain.visit import visit_from, visit_to
from tests.web.conftest import FORM, ID, NewPhone, Phone
from tests.web.test_pages import shown

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")

from kb.web.visit_form import JACK, Entry, new_id
from tests.present import Present


def test_a_recorded_visit_is_in_the_book_with_what_its_marks_say(phone: Phone, book: Any) -> None:
    answer = phone.post("/record", {**FORM, "id": ID, "do": "save"})
    assert answer.status_code == 303
    (visit,) = book.visits("hallmere", "hm325")
    assert visit.id == ID
    assert visit.basis.value == "tested"  # a jack was tried
    optical, pair = visit.findings
    assert (optical.jack.direction.value, optical.jack.signal.value) == ("output", "optical")
    assert optical.inferred == ("direction", "signal")
    assert pair.jack.direction.value == "input"
    page = shown(phone.get(answer.location).text)
    assert "In the book" in page
    assert "AUDIO without OUT: the sound of a picture input" in page


def test_the_command_line_finds_what_the_phone_recorded(
    phone: Phone, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from kb.cli.main import run

    phone.post("/record", {**FORM, "id": ID, "do": "save"})
    assert run(["--home", str(home), "find", "hm32-5"]) == 0
    assert "Hallmere HM32-5" in capsys.readouterr().out


def test_a_visit_that_is_sent_twice_is_one_visit(phone: Phone, book: Any) -> None:
    first = phone.script("/record", {**FORM, "id": ID, "do": "save"}).json
    second = phone.script("/record", {**FORM, "id": ID, "do": "save"}).json
    assert (first["visit"], first["already"]) == (ID, False)
    assert (second["visit"], second["already"]) == (ID, True)
    assert len(book.visits("Hallmere", "HM32-5")) == 1


def test_two_phones_that_record_the_same_set_are_two_visits(new_phone: NewPhone, book: Any) -> None:
    for phone, mark in ((new_phone(), "OPTICAL OUT"), (new_phone(), "DIGITAL OUT (OPTICAL)")):
        answer = phone.post("/record", {**FORM, "id": new_id(), "jack-0-marking": mark, "do": "save"})
        assert answer.status_code == 303
    assert len(book.visits("Hallmere", "HM32-5")) == 2
    assert len(book.view("Hallmere", "HM32-5").panel.jacks) == 2  # one optical jack, one pair


def test_the_same_id_with_other_words_becomes_a_correction(phone: Phone, book: Any) -> None:
    """Back in the browser, changed, saved again: neither version is lost."""
    phone.post("/record", {**FORM, "id": ID, "do": "save"})
    answer = phone.post("/record", {**FORM, "id": ID, "jack-0-marking": "OPTICAL", "do": "save"})
    assert answer.status_code == 409
    assert "correction" in answer.text
    hidden = dict(re.findall(r'<input type="hidden" name="(id|supersedes)" value="([^"]*)"', answer.text))
    assert hidden["supersedes"] == ID
    assert hidden["id"] != ID
    again = phone.post("/record", {**FORM, **hidden, "jack-0-marking": "OPTICAL", "do": "save"})
    assert again.status_code == 303
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert visit.findings[0].jack.marking == "OPTICAL"
    assert len(Present(book.store).history_of(visit.source.key)) == 2


def test_a_visit_is_corrected_from_its_own_page(phone: Phone, book: Any) -> None:
    phone.post("/record", {**FORM, "id": ID, "do": "save"})
    page = phone.get(f"/record?correct={ID}").text
    assert "Correct a visit" in page
    for value in ("Hallmere", "HM32-5", "OPTICAL OUT", "J-9", "2026-03-05"):
        assert f'value="{value}"' in page
    assert "too loud in the hall" in page


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("make", "", "make"),
        ("model", "-", "letters or digits"),
        ("date", "2031-01-01", "date"),
        ("date", "soon", "date"),
        ("year", "19", "year"),
        ("year", "old", "number"),
        ("size_in", "nan", "inches"),
        ("size_in", "1e999", "inches"),
        ("jack-0-form", "banana", "form"),
        ("jack-0-outcome", "great", "outcome"),
        ("jack-1-marking", "x" * 90, "marking"),
        ("jack-1-taken", "perhaps", "taken"),
        ("note", "n" * 4100, "note"),
        ("id", "1234", "id"),
        ("supersedes", "banana", "supersedes"),
    ],
)
def test_what_is_wrong_is_named_and_everything_typed_is_still_there(
    field: str, value: str, said: str, phone: Phone, book: Any
) -> None:
    answer = phone.post("/record", {**FORM, "id": ID, field: value, "do": "save"})
    assert answer.status_code == 422
    alert = re.search(r'id="said" role="alert">(.*?)</p>', answer.text, re.S)
    assert alert is not None
    assert said in alert[1]
    for kept in {"Hallmere", "HM32-5", "OPTICAL OUT", "J-9"} - {FORM.get(field, "")}:
        assert f'value="{kept}"' in answer.text
    assert book.visits("Hallmere", "HM32-5") == []


def test_a_wrong_field_is_marked_for_those_who_do_not_see_it(phone: Phone) -> None:
    page = phone.post("/record", {**FORM, "jack-1-marking": "x" * 90, "do": "save"}).text
    field = re.search(r'<input[^>]*id="jack-1-marking"[^>]*>', page)
    assert field is not None
    assert 'aria-invalid="true"' in field[0]
    assert 'aria-describedby="said"' in field[0]


def test_without_script_jacks_are_added_and_taken_away_a_page_at_a_time(phone: Phone) -> None:
    page = phone.post("/record", {"make": "Norwell", "model": "X1", "do": "add:toslink:OPTICAL OUT"}).text
    assert "output, optical digital (marked as an output)" in page
    assert 'data-focus="jack-0-marking"' in page
    more = {"make": "Norwell", "model": "X1", "jack-0-form": "toslink", "jack-0-marking": "OPTICAL OUT"}
    page = phone.post("/record", {**more, "do": "add:rca-pair"}).text
    assert len(re.findall(r'data-jack="\d+"', page)) == 2
    page = phone.post("/record", {**more, "jack-1-form": "rca-pair", "do": "drop:0"}).text
    assert re.findall(r'name="jack-(\d+)-form" value="([a-z-]+)"', page)[0] == ("0", "rca-pair")


def test_the_jacks_of_the_book_are_there_to_be_tapped(phone: Phone) -> None:
    page = phone.get("/record?make=Norwell&model=NV40-210").text
    assert 'value="add:toslink:DIGITAL AUDIO OUT"' in page
    assert 'value="add:jack-3.5:HEADPHONE"' in page


def test_as_one_types_the_marks_are_read_as_they_will_be(phone: Phone) -> None:
    answer = phone.script(
        "/read",
        {
            "jack-0-form": "rca-pair",
            "jack-0-marking": "AUDIO",
            "jack-3-form": "rca-pair",
            "jack-5-form": "toslink",
            "jack-5-outcome": "carried",
        },
    ).json
    assert answer["read"] == [
        "input (AUDIO without OUT: the sound of a picture input)",
        "unclear (no mark: never guessed)",
        "output, optical digital (sound came out of it)",
    ]


def test_a_book_that_cannot_be_written_keeps_the_form(phone: Phone, home: Path) -> None:
    (home / "book.sqlite").chmod(0o400)
    lock = sqlite3.connect(home / "book.sqlite", isolation_level=None)
    try:
        lock.execute("BEGIN EXCLUSIVE")
        phone.client.application.extensions["jackfield"].books.here().store  # noqa: B018  # open before
        from kb.store import places

        answer = None
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(places, "PATIENCE", 0.2)
            answer = phone.post("/record", {**FORM, "id": ID, "do": "save"})
        assert answer.status_code == 503
        assert "Nothing was saved yet" in answer.text
        assert 'value="OPTICAL OUT"' in answer.text
    finally:
        lock.close()
        (home / "book.sqlite").chmod(0o600)


def test_a_correction_on_the_phone_takes_the_place_of_two_rival_corrections(phone: Phone, book: Any) -> None:
    """Made in two books; whichever counted before, and however often the phone sends the form."""
    first = visit_from({"date": "2026-03-04", "source": {"make": "Hallmere", "model": "HM32-5"}, "jacks": []})
    [old] = book.record([first]).recorded
    said = [replace(first, supersedes=(old.id,), note=note) for note in ("this", "that")]
    rivals = [one.id for one in book.record(said).recorded]
    [stands] = book.visits("Hallmere", "HM32-5")
    for wanted in (stands.id, next(one for one in rivals if one != stands.id)):
        form = phone.get(f"/record?correct={wanted}").text
        hidden = dict(re.findall(r'<input type="hidden" name="(id|supersedes)" value="([^"]*)"', form))
        assert set(hidden["supersedes"].split(",")) == set(rivals)
        assert hidden["supersedes"].startswith(wanted)
    mine = {**FORM, **hidden, "id": ID, "note": "neither", "do": "save"}
    for _ in range(2):
        assert phone.post("/record", mine).status_code == 303
        assert [one.note for one in book.visits("Hallmere", "HM32-5")] == ["neither"]


def test_who_corrects_what_another_phone_has_corrected_meanwhile_is_told_by_both_pages(
    new_phone: NewPhone, book: Any
) -> None:
    one, two = new_phone(), new_phone()
    one.post("/record", {**FORM, "id": ID, "do": "save"})
    both = [(one, "", {"year": "2015"}), (two, "", {"note": "behind the plinth"})]
    forms = [(phone, _corrects(phone, ID), more) for phone, _, more in both]  # both are open at once
    pages = [
        phone.post("/record", {**FORM, **hidden, **more, "do": "save"}).location
        for phone, hidden, more in forms
    ]
    [counts] = book.visits("Hallmere", "HM32-5")
    lost, won = sorted(pages, key=lambda page: counts.id in page)
    assert "Only this correction counts" in shown(one.get(won).text)
    other = re.search(r"/recorded\?visit=[0-9a-f-]+", lost)
    assert other is not None
    assert other[0] in one.get(won).text  # what it said is one tap away
    assert "Does not count" in shown(one.get(lost).text)
    assert "In the book" not in shown(one.get(lost).text)


def test_a_visit_that_was_corrected_since_says_so_and_leads_to_what_counts(phone: Phone, book: Any) -> None:
    phone.post("/record", {**FORM, "id": ID, "do": "save"})
    for note in ("first", "second"):  # the page of the first visit was left open, or was a link
        answer = phone.post("/record", {**FORM, **_corrects(phone, ID), "note": note, "do": "save"})
        assert answer.status_code == 303
    [counts] = book.visits("Hallmere", "HM32-5")
    assert counts.note == "second"
    page = phone.get(f"/recorded?visit={ID}").text
    assert "Corrected since" in page
    assert f"/recorded?visit={counts.id}" in page
    assert "Withdraw this visit" not in page  # which would not take back what counts
    assert [one.rivals for one in Present(book.store).history_of(counts.source.key)] == [(), (), ()]


def _corrects(phone: Phone, visit: str) -> dict[str, str]:
    """The hidden fields of the form that corrects this visit."""
    form = phone.get(f"/record?correct={visit}").text
    return dict(re.findall(r'<input type="hidden" name="(id|supersedes)" value="([^"]*)"', form))


def test_a_form_has_no_more_jacks_than_a_panel(phone: Phone) -> None:
    data = {f"jack-{n}-form": "hdmi" for n in range(65)}
    assert phone.post("/record", {**FORM, **data, "do": "save"}).status_code == 422


def test_a_visit_goes_through_the_form_of_a_correction_unchanged(monkeypatch: pytest.MonkeyPatch) -> None:
    """Demo visits, into the form and back: only id and what is superseded differ."""
    import json

    monkeypatch.setenv("JACKFIELD_TODAY", "2026-11-25")

    lines = (Path(__file__).parents[2] / "data" / "demo" / "visits.jsonl").read_text("utf-8").splitlines()
    for line in lines[::7]:
        before = visit_to(visit_from({**json.loads(line), "id": ID}))
        entry = Entry.of(visit_from(before))
        after = visit_to(visit_from(entry.data()))
        for key in ("id", "supersedes"):
            before.pop(key, None)
            after.pop(key, None)
        assert after == before


@given(
    st.dictionaries(
        st.one_of(
            st.sampled_from(
                [
                    "make",
                    "model",
                    "date",
                    "year",
                    "size_in",
                    "kind",
                    "basis",
                    "id",
                    "supersedes",
                    "do",
                    "photo_kept",
                ]
            ),
            st.builds(lambda n, f: f"jack-{n}-{f}", st.integers(0, 99999), st.sampled_from(JACK)),
            st.text(max_size=12),
        ),
        st.text(max_size=40),
        max_size=12,
    )
)
def test_no_form_whatever_it_holds_is_a_mistake_of_ours(fuzzed: Any, data: dict[str, str]) -> None:
    answer = fuzzed.post("/record", {**data, "form_token": fuzzed.token})
    assert answer.status_code in (200, 303, 409, 422), answer.text


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """One phone for all examples, with no limit on how often it asks."""
    from kb.web.app import make_app
    from kb.web.rate_limit import Limit

    codes: list[str] = []
    app = make_app(tmp_path_factory.mktemp("fuzzed"), tell=codes.append)
    app.extensions["jackfield"].guards.asking = Limit(per_s=1e6, burst=1e6)
    yield Phone(app.test_client(), codes).pair()
    app.extensions["jackfield"].books.close()
