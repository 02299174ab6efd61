"""The right set from a worn label, a bad line or half a memory."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from kb.index import Answer, Filters, Index, SetEntry
from tests.index.conftest import region, sets

Book = Callable[..., Index]
SHELF = sets(
    "Norwell: NV40-210",
    "Norwell: NV55-330B",
    "Norwell: NX32-118XA",
    "Ostrava: OX 200 A",
    "Blue Ridge: BR-55Q9",
    "Belmont: 32C/77",
    "Taminga: QD6S-81",
    "Vertek: Vertek VX71",
)


def first(answer: Answer) -> tuple[str, str]:
    return (answer.matches[0].model, answer.matches[0].how) if answer.matches else ("", "")


@pytest.mark.parametrize(
    "query",
    [
        "Norwell NV40-210",
        "nv40-210 norwell",
        "NV40210",
        "nv 40 210",
        "NORWELL/NV40/210",
        "norwellnv40210",
        "NV40210NORWELL",
        "norwell: nv-40-210",
        "  norwell   nv40_210  ",
        "model nv40-210",
    ],
)
def test_order_spacing_hyphens_and_case_make_no_difference(book: Book, query: str) -> None:
    assert first(book(SHELF).find(query)) == ("NV40-210", "exact")


@pytest.mark.parametrize(
    ("query", "model"),
    [
        ("NV4O-2I0", "NV40-210"),
        ("NVS5-33OB", "NV55-330B"),
        ("BR-S5Q9", "BR-55Q9"),
        ("0X 2OO A", "OX 200 A"),
        ("QD65-8I", "QD6S-81"),
        ("ODGS-81", "QD6S-81"),
        ("3ZC/77", "32C/77"),
        ("NV55-3308", "NV55-330B"),
    ],
)
def test_look_alikes_on_a_worn_label_are_forgiven(book: Book, query: str, model: str) -> None:
    assert first(book(SHELF).find(query)) == (model, "near")


@pytest.mark.parametrize(
    "query",
    [
        "nv402210",
        "nv4210",
        "nvx0210",
        "vn40210",
        "norwell nv40 21",
        "nv40-2?0",
        "?v40-210",
        "nv??210",
        "nrowell nv40210",
        "norvel nv40-210",
        "norwel nv4210",
        "nv40210eu",
        "nv40210 norwelll",
        "nrwl nv40-210",
    ],
)
def test_one_slip_anywhere_or_an_unreadable_character_still_finds_the_set(book: Book, query: str) -> None:
    assert first(book(SHELF).find(query)) == ("NV40-210", "near")


@pytest.mark.parametrize(
    "query", ["norwell nvv402100", "norwell vn40201", "norwel n40210x", "ostrav 0x20O", "taminga qd?s8l"]
)
def test_compound_damage_with_the_make_finds_the_set(book: Book, query: str) -> None:
    wanted = {"n": "NV40-210", "o": "OX 200 A", "t": "QD6S-81"}[query[0]]
    assert first(book(SHELF).find(query))[0] == wanted


@pytest.mark.parametrize(
    ("query", "model"),
    [
        ("nx32-118", "NX32-118XA"),
        ("norwell nv55-330", "NV55-330B"),
        ("nx32", "NX32-118XA"),
        ("br-55q9eu", "BR-55Q9"),
    ],
)
def test_a_suffix_lost_or_added_and_a_beginning_alone_are_enough(book: Book, query: str, model: str) -> None:
    assert first(book(SHELF).find(query)) == (model, "near")


def test_the_make_printed_inside_the_model_may_be_left_out_or_said_once(book: Book) -> None:
    index = book(SHELF)
    assert first(index.find("vx71")) == first(index.find("vertek vx71")) == ("Vertek VX71", "exact")


def test_one_model_number_under_two_makes_is_not_certain_until_the_make_is_said(book: Book) -> None:
    index = book(sets("Norwell: K19-4", "Ostrava: K19-4"))
    both = index.find("k19-4").matches
    assert {m.make for m in both} == {"Norwell", "Ostrava"}
    assert all(m.how == "exact" and m.score <= 0.5 for m in both)
    named = index.find("ostrava k19-4").matches
    assert (named[0].make, named[0].how) == ("Ostrava", "exact")
    assert named[0].score > 0.9


def test_another_spelling_of_a_set_leads_to_it(book: Book) -> None:
    index = book([SetEntry("n/1", "Norwell", "NV40-210", aliases=(("Norsk Well", "N-4021"),))])
    assert first(index.find("norsk well n4021")) == ("NV40-210", "exact")
    assert first(index.find("n-4O21")) == ("NV40-210", "near")


def test_a_make_alone_lists_its_sets_with_the_most_findings_first(book: Book) -> None:
    index = book(
        [*sets("Norwell: NV40-210", findings=1), *sets("Norwell: NV46-210", findings=8), *sets("Senda: S1")]
    )
    assert [m.model for m in index.find("norwell").matches] == ["NV46-210", "NV40-210"]


@pytest.mark.parametrize("query", ["lumo & sons", "lumo sons", "lumo"])
def test_a_make_of_several_words_lists_its_sets_however_much_of_it_is_typed(book: Book, query: str) -> None:
    index = book(sets("Lumo & Sons: LX-40", "Norwell: NV40-210"))
    assert [m.model for m in index.find(query).matches] == ["LX-40"]


@pytest.fixture
def half_remembered(book: Book) -> Index:
    return book(
        [
            *sets("Norwell: NV40-210", years=(2014, 2014), signals=("optical",), findings=2),
            *sets("Norwell: NV55-330", years=(2018, 2019), signals=("headphone",)),
            *sets("Brennauer: BRN 40 F 23-DE", "Brennauer: BRN 72 T 15-DE", "Tolvaine: LYS55-A1F"),
        ]
    )


@pytest.mark.parametrize(
    ("query", "models"),
    [
        ("norwell 2014", ["NV40-210"]),
        ("2018 norwel", ["NV55-330"]),
        ('norwell 40"', ["NV40-210"]),
        ("tolvaine 55 inch", ["LYS55-A1F"]),
        ("norwell optical", ["NV40-210"]),
        ("norwell headphones 2019", ["NV55-330"]),
        ("brennauer", ["BRN 40 F 23-DE", "BRN 72 T 15-DE"]),
    ],
)
def test_a_make_with_a_year_a_size_or_a_signal_lists_what_fits_without_claiming_it(
    half_remembered: Index, query: str, models: list[str]
) -> None:
    matches = half_remembered.find(query).matches
    assert [m.model for m in matches] == models
    assert all(m.how == "family" and m.score < 0.1 for m in matches)


@pytest.mark.parametrize("query", ["brennauer 40f23", "40F23", "brennauer f23de"])
def test_the_middle_or_end_of_a_code_is_enough_where_the_front_letters_were_forgotten(
    half_remembered: Index, query: str
) -> None:
    assert first(half_remembered.find(query))[0] == "BRN 40 F 23-DE"


@pytest.mark.parametrize("query", ["norwell zz9988", "norwell 1999", "norwell kitchen"])
def test_where_nothing_fits_a_known_make_its_sets_are_asked_about_not_claimed(
    half_remembered: Index, query: str
) -> None:
    answer = half_remembered.find(query)
    assert not answer.matches
    assert {make for make, _ in answer.did_you_mean} == {"Norwell"}


def test_a_plain_beginning_comes_before_a_sister_like_number_of_another_make(book: Book) -> None:
    matches = book(sets("Ostrava: NV80", "Norwell: NV40-210", "Norwell: NV40-218")).find("nv40").matches
    assert [m.model for m in matches[:2]] == ["NV40-210", "NV40-218"]
    assert [m.how for m in matches] == ["near", "near", "family"]


def test_a_beginning_that_fits_very_many_sets_still_lists_some(book: Book) -> None:
    matches = book(sets(*(f"Norwell: NV40-{n}" for n in range(200, 300)))).find("nv40").matches
    assert len(matches) == 10
    assert all(m.score < 0.1 for m in matches)


def test_a_long_added_end_is_no_suffix(book: Book) -> None:
    index = book(sets("Norwell: U8220", "Norwell: U8220PLUS"))
    assert first(index.find("u8220pbusxs"))[0] == "U8220PLUS"


def test_several_look_alikes_weigh_more_than_one_character_left_out(book: Book) -> None:
    assert first(book(sets("Norwell: OP110", "Ostrava: QPI-1")).find("op11"))[0] == "OP110"


def test_filters_hold_for_sets_found_by_model_too(book: Book) -> None:
    index = book(
        [*sets("Norwell: NV40-210", years=(2012, 2014), signals=("optical",)), *sets("Norwell: NV40-218")]
    )
    assert [m.model for m in index.find("nv40 year:2013").matches] == ["NV40-210"]
    assert [m.model for m in index.find("nv40", filters=Filters(signals=("optical",))).matches] == [
        "NV40-210"
    ]
    assert not index.find("nv40-210 year:2019").matches


def test_what_the_book_stored_comes_back_unchanged(book: Book) -> None:
    entry = SetEntry("k", "Norwell", "NV40-210", "soundbar", 3, 2, best='{"a":1}', payload='["ü"]')
    match = book([entry]).find("nv40210").matches[0]
    assert (match.key, match.kind, match.findings, match.best, match.payload) == (
        "k",
        "soundbar",
        3,
        '{"a":1}',
        '["ü"]',
    )


def test_codes_in_other_scripts_are_found_too(book: Book) -> None:
    index = book(sets("Норд: ТВ-4021", "Été: É-200"))
    assert first(index.find("норд тв4021")) == ("ТВ-4021", "exact")
    assert first(index.find("ete e200")) == ("É-200", "exact")


def test_every_one_of_two_thousand_sets_is_found_as_printed(book: Book) -> None:
    entries = region(2000)
    index = book(entries)
    reader = index.reader()
    for entry in entries:
        match = reader.find(f"{entry.make} {entry.model}").matches[0]
        assert (match.key, match.how) == (entry.key, "exact")
    reader.close()


@pytest.mark.parametrize(
    ("query", "model"),
    [
        ('norwell 40" nv46-210', "NV46-210"),
        ("40 inch nv46-210", "NV46-210"),
        ("nv46-210 norwell 40 in", "NV46-210"),
        ("no sound br 55 q 9 norwell kitchen", "BR-55Q9"),
        ("brr-55-q9 no sound kitchen", "BR-55Q9"),
        ("the 320 37 a ostrava sor", "SOR 320 37 A"),
        ("s-r-o 320/37-a ostrava", "SOR 320 37 A"),
        ("so-rr-32037/a no sound", "SOR 320 37 A"),
        ("norwell nv 4 6/120 lounge", "NV46-210"),
        ("norwell b r/q559 lounge", "BR-55Q9"),
    ],
)
def test_sizes_and_spoken_words_beside_a_split_number_do_not_hide_it(
    book: Book, query: str, model: str
) -> None:
    index = book(sets("Norwell: NV46-210", "Norwell: NV40-330", "Norwell: BR-55Q9", "Ostrava: SOR 320 37 A"))
    assert index.find(query).matches[0].model == model


def test_what_was_written_in_one_with_the_number_is_rather_its_end_than_a_word(book: Book) -> None:
    index = book(sets("Norwell: GT5510M", "Norwell: GT5510"))
    assert first(index.find("tg5510/maxa"))[0] == "GT5510M"


def test_a_word_that_is_nearly_a_make_is_that_make(book: Book) -> None:
    index = book(sets("Norwell: XT800", "Ostrava: T800"))
    assert index.find("norwlel t2800").matches[0].make == "Norwell"


def test_a_blank_between_number_and_make_is_believed(book: Book) -> None:
    index = book(sets("Vevo: V2140", "Vevo: V2140A"))
    assert first(index.find("v2140a ibvo"))[0] == "V2140A"


def test_an_end_behind_a_slash_belongs_to_the_number_even_if_the_make_was_said(book: Book) -> None:
    index = book(sets("Norwell: 4188L", "Norwell: 4188O"))
    assert index.find("4188/ogbh norwell").matches[0].model == "4188O"


@pytest.mark.parametrize(
    "query", ["nv40 norwell 210", "BR Norwell 55Q9", "ox Blue Ridge 200a", "nv norwell 40/210"]
)
def test_a_make_said_within_the_number_does_not_cut_it(book: Book, query: str) -> None:
    index = book(sets("Norwell: NV40-210", "Norwell: NV40-330", "Norwell: BR-55Q9", "Blue Ridge: OX 200 A"))
    meant = {"n": "NV40-210", "B": "BR-55Q9", "o": "OX 200 A"}[query[0]]
    assert first(index.find(query)) == (meant, "exact")


@pytest.mark.parametrize(
    "query",
    [
        "n x 3 2 1 1 8 x a",
        "Norwell N X 3 2 - 1 1 8 X A",
        "a v k 3 2 a 1 7 a d",
        "q 6 s 8 1 a a b b c c d d e",
    ],
)
def test_a_number_said_sign_by_sign_is_one_number_with_the_small_words_in_it(book: Book, query: str) -> None:
    index = book([*SHELF, *sets("Aldvik: AVK32A17AD", "Taminga: Q6S81AABBCCDDE")])
    meant = {"n": "NX32-118XA", "N": "NX32-118XA", "a": "AVK32A17AD", "q": "Q6S81AABBCCDDE"}[query[0]]
    assert first(index.find(query)) == (meant, "exact")


@pytest.mark.parametrize("make", ["nrwl", "NORW", "Nor", "nrwell"])
def test_a_make_cut_short_speaks_for_its_sets_though_another_make_has_the_number_as_read(
    book: Book, make: str
) -> None:
    others = sets(*(f"{name}: X{n}10" for n in range(3, 9) for name in ("Ostrava", "Belmont", "Senda")))
    index = book([*others, *sets("Norwell: XT610")])
    assert index.find(f"{make} x.t6l0").matches[0].make == "Norwell"
    assert "Norwell" in [match.make for match in index.find(f"{make} x.610").matches]


def test_a_number_that_is_worn_all_over_is_not_a_longer_one(book: Book) -> None:
    index = book(sets("Norwell: T1-701U", "Norwell: T1-701UA", "Norwell: T1-701US"))
    assert first(index.find("norwell TI7DLU"))[0] == "T1-701U"


def test_a_number_beside_the_code_is_no_misspelt_make(book: Book) -> None:
    index = book(sets("Vilo: Vilo 2007", "Senda: EZ-M10"))
    assert index.find("2007 weak model ez-m10").matches[0].model == "EZ-M10"


@pytest.mark.parametrize(
    ("query", "model"),
    [
        ("norwell n v four oh two one zero", "NV40-210"),
        ("nv four zero two one zero norwell", "NV40-210"),
        ("BR five five q nine", "BR-55Q9"),
        ("b r double five q nine", "BR-55Q9"),
        ("br Double 5 q 9", "BR-55Q9"),
        ("ostrava o x two double oh a", "OX 200 A"),
        ("ostrava ox two zero zero a", "OX 200 A"),
    ],
)
def test_digits_said_over_the_telephone_are_digits(book: Book, query: str, model: str) -> None:
    assert first(book(SHELF).find(query)) == (model, "exact")
