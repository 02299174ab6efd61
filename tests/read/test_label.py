"""Make and model are found on a label, among serial number, ratings, approvals and dates.

The lines are such as rating labels have them (common practice); makes and models are invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from kb.index import Answer, Index, Reader, SetEntry
from kb.read.label import Label, interpreted, look_at
from kb.read.picture import Reading
from tests.read.pictures import read_as

SETS = (
    ("Norwell", "NV40-210"), ("Norwell", "NV40-220"), ("Norwell", "NV32-210"), ("Tarnow", "T32-6"),
    ("Casa Verano", "CH-28L45"), ("Blue Heron", "BZ 48 S 605-H"), ("Hallmere", "HM32-5"),
    ("Imberg", "F19-70XA"),
)  # fmt: skip


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Reader]:
    with Index.open(tmp_path_factory.mktemp("index")) as index:
        index.rebuild([SetEntry(f"s{n}", *names, findings=1) for n, names in enumerate(SETS)], revision=1)
        with index.reader() as reader:
            yield reader


def asked(book: Reader, reading: Reading) -> Label[Answer]:
    return interpreted(reading, book.find, book.make_of, today=2026)


def first(label: Label[Answer]) -> tuple[str, str, str]:
    """Make, model and kind of match of the set that is told first."""
    match = label.candidates[0].found.matches[0]
    return match.make, match.model, match.how


AROUND = ("AC 220-240V~ 50/60Hz 85W", "S/N 408123344551", "Made in Poland", "CE RoHS", "MFG DATE 03/2014")


@pytest.mark.parametrize(
    "line",
    [
        "MODEL NO.: NV40-210", "Model No. NV40-210", "MODEL NUMBER NV40-210", "Modell-Nr.: NV40-210",
        "MODÈLE : NV40-210", "N° DE MODÈLE NV40-210", "Modelo: NV40-210", "Modello: NV40-210",
        "TYPE: NV40-210", "Typ: NV40-210", "МОДЕЛЬ: NV40-210", "MODELL/MODELO NV40-210",
        "Model No./N° de modèle/N° de modelo NV40-210",
    ],
)  # fmt: skip
def test_the_model_is_found_by_the_name_of_its_field_in_several_languages(book: Reader, line: str) -> None:
    label = asked(book, read_as("NORWELL", "LED TV", *AROUND[:2], line, *AROUND[2:]))
    assert first(label) == ("Norwell", "NV40-210", "exact")
    assert label.candidates[0].named
    assert label.candidates[0].piece.text == line
    assert label.year == 2014


@pytest.mark.parametrize(
    "line",
    [
        "MODELNO.:NV40-210", "MODELNUMBERNV40-210", "M0DEL NO.NV40-210", "Modell:NV40-210",
        "Model Mo./N° de modele/N9 de modelo NV40-210", "N2 DE MODELE NV40-210",
    ],
)  # fmt: skip
def test_the_name_of_a_field_may_be_misread_or_run_into_its_value(book: Reader, line: str) -> None:
    assert first(asked(book, read_as("NORWELL", line, *AROUND))) == ("Norwell", "NV40-210", "exact")


@pytest.mark.parametrize("model", ["OS39-10UK", "NOL-19E10", "NR-40", "NO-12"])
def test_the_beginning_of_a_model_is_not_taken_for_the_end_of_the_name_of_its_field(
    book: Reader, model: str
) -> None:
    for name in ("MODEL", "MODEL:", "Modell", "TYPE"):
        (one,) = asked(book, read_as("Zentrix", f"{name} {model}", *AROUND)).candidates
        assert one.model == model


def test_the_make_in_full_counts_before_a_word_that_is_a_part_of_another(
    tmp_path: Path,
) -> None:
    sets = [SetEntry("a", "Royal Fenwick Electric", "RF40-1"), SetEntry("b", "Norwell", "NV40-210")]
    with Index.open(tmp_path) as index:
        index.rebuild(sets, revision=1)
        with index.reader() as reader:
            read = read_as("Norwell", "MODEL: NV40-210", "RISK OF ELECTRIC SHOCK", *AROUND)
            assert first(asked(reader, read)) == ("Norwell", "NV40-210", "exact")


def test_a_warning_is_no_make(book: Reader) -> None:
    (one,) = asked(
        book, read_as("Model: ZX55-1", "CAUTION: RISK OF SHOCK", "DO NOT OPEN THE BACK")
    ).candidates
    assert one.make == ""


@pytest.mark.parametrize("turn", [0, 28, -28, 90, 180, 270])
@pytest.mark.parametrize(
    "places",
    [
        [(1, 0, "MODEL NO."), (1, 14, "SERIAL NO."), (2, 0, "NV40-210"), (2, 14, "408123344551")],
        [(1, 0, "SERIAL NO."), (1, 14, "MODEL NO."), (2, 0, "408123344551"), (2, 14, "NV40-210")],
        [(1, 0, "SERIAL NO."), (1, 14, "408123344551"), (2, 0, "MODEL NO."), (2, 14, "NV40-210")],
        [(1, 0, "Chassis"), (1, 14, "17MB95"), (2, 0, "Modell"), (2, 14, "NV40-210")],
    ],
    ids=["below", "below, serial number first", "beside", "beside, below a chassis"],
)
def test_a_value_may_be_beside_or_below_the_name_of_its_field_on_a_label_at_a_slant(
    book: Reader, places: list[tuple[float, float, str]], turn: float
) -> None:
    label = asked(book, read_as((0, 0, "NORWELL"), *places, (3, 0, AROUND[0]), turn=turn))
    assert first(label) == ("Norwell", "NV40-210", "exact")
    assert label.candidates[0].piece.text == "NV40-210"


def test_a_code_that_stands_alone_is_the_model_if_the_book_has_it(book: Reader) -> None:
    label = asked(book, read_as("Blue Heron", "BZ 48 S 605-H", *AROUND, "Panel: V390HJ1-LE6", "RC4849"))
    assert first(label) == ("Blue Heron", "BZ 48 S 605-H", "exact")
    assert not label.candidates[0].named


def test_a_damaged_reading_is_told_as_near(book: Reader) -> None:
    """The letter O for the digit: one slip of the camera."""
    for worn in ("NV4O-21O", "NV40-Z10", "NV40 2I0"):
        label = asked(book, read_as("NORWELL", f"MODEL: {worn}", *AROUND))
        assert first(label) == ("Norwell", "NV40-210", "near")
    assert first(asked(book, read_as("N0RWELL", "MODEL: NV40-21U", *AROUND)))[:2] == ("Norwell", "NV40-210")


@pytest.mark.parametrize(
    ("make", "line", "meant"),
    [
        ("Irnberg", "Modell: F19-70XA", ("Imberg", "F19-70XA", "exact")),
        ("Hallrnere", "Model: HM32-5", ("Hallmere", "HM32-5", "exact")),
        ("Norvvell", "Model: NV40-2l0", ("Norwell", "NV40-210", "near")),
        ("Tamow", "MODEL NO. T32-6", ("Tarnow", "T32-6", "exact")),
        ("Tarnow", "MODEL NO. Wm-5", ("Tarnow", "Wrn-5", "exact")),
        ("Tarnow", "MODEL NO. cl77", ("Tarnow", "d77", "exact")),
    ],
)
def test_two_letters_that_were_read_as_one_that_looks_the_same_are_no_other_set(
    tmp_path: Path, make: str, line: str, meant: tuple[str, str, str]
) -> None:
    with Index.open(tmp_path) as index:
        sets = [*SETS, ("Tarnow", "Wrn-5"), ("Tarnow", "d77")]
        index.rebuild([SetEntry(f"s{n}", *names, findings=1) for n, names in enumerate(sets)], revision=1)
        with index.reader() as reader:
            label = asked(reader, read_as(make, line, *AROUND))
            assert first(label) == meant
            assert label.candidates[0].make == meant[0]


def test_a_set_that_is_read_exactly_is_not_read_as_another_that_looks_the_same(book: Reader) -> None:
    label = asked(book, read_as("Hallmere", "MODEL: HM32-5", *AROUND))
    assert [one.model for one in label.candidates] == ["HM32-5"]


def test_a_set_that_the_book_does_not_have_is_told_with_make_model_and_year(book: Reader) -> None:
    label = asked(book, read_as("ZENTRIX", "Smart TV", "Modell: ZX55-1000", *AROUND))
    (one,) = label.candidates
    assert (one.make, one.model, label.year) == ("ZENTRIX", "ZX55-1000", 2014)
    assert one.found.matches == ()


def test_a_model_is_found_behind_the_name_of_a_field_that_cannot_be_read(book: Reader) -> None:
    for worn in ("MO1E/IL=NV40-210", "M0IFL: NV40-210", "HODEL 7 M0FLE NV40-210"):
        label = asked(book, read_as("NORWELL", worn, *AROUND))
        assert first(label) == ("Norwell", "NV40-210", "exact")


def test_several_codes_that_the_book_has_are_all_told(book: Reader) -> None:
    label = asked(book, read_as("NORWELL", "NV40-210", "NV32-210", "AC 230V 50Hz"))
    assert {one.found.matches[0].model for one in label.candidates} == {"NV40-210", "NV32-210"}


@pytest.mark.parametrize("text", [(), ("图",), ("CAUTION", "RISK OF ELECTRIC SHOCK"), AROUND])
def test_a_photo_without_a_model_names_none(book: Reader, text: tuple[str, ...]) -> None:
    assert asked(book, read_as(*text)).candidates == ()


@pytest.mark.parametrize(
    "text",
    [
        '"MODEL": NV40-210"',
        "MODEL: make:x",
        "model: a:b3",
        "MODEL: ???? 1",
        "MODEL " + "M" * 3000 + "1",
        "Model: \x1b[31mX1",
        '""',
    ],
)
def test_nothing_that_a_label_says_is_a_mistake_of_the_query(book: Reader, text: str) -> None:
    asked(book, read_as("NORWELL", text, *AROUND))


def test_a_photo_is_looked_at_more_closely_only_if_it_does_not_name_a_set_of_the_book(book: Reader) -> None:
    clear, worn = read_as("NORWELL", "MODEL: NV40-210", *AROUND), read_as("N0R")
    for whole, expected in ((clear, [False]), (worn, [False, True])):
        looks: list[bool] = []

        def read(closer: bool, whole: Reading = whole, looks: list[bool] = looks) -> Reading:
            looks.append(closer)
            return clear if closer else whole

        label = look_at(read, book.find, book.make_of, today=2026)
        assert looks == expected
        assert first(label) == ("Norwell", "NV40-210", "exact")


def test_each_reading_of_a_line_is_asked_for_and_the_first_one_comes_first(book: Reader) -> None:
    read = read_as("NORWELL", "M/b: NVAO-21", *AROUND)
    line = read.pieces[1]._replace(others=("M/b: NV4O-Z1", "M/b: NV40-210", "M/b: NV40-220"))
    label = asked(book, replace(read, pieces=(read.pieces[0], line, *read.pieces[2:])))
    told = [one.found.matches[0].model for one in label.candidates]
    assert told[:2] == ["NV40-210", "NV40-220"]
    assert label.candidates[0].piece.text == "M/b: NV40-210"
    sure = read.pieces[1]._replace(text="MODEL: NV40-220", others=("MODEL: NV40-210",))
    label = asked(book, replace(read, pieces=(read.pieces[0], sure, *read.pieces[2:])))
    assert first(label) == ("Norwell", "NV40-220", "exact")


def test_what_both_looks_saw_is_told_once_and_the_better_look_first(book: Reader) -> None:
    whole, near = read_as("NORWELL", "NV40-2I0", "NV32-21O"), read_as("NORWELL", "NV40-210")
    label = look_at(lambda closer: near if closer else whole, book.find, book.make_of, today=2026)
    assert [one.found.matches[0].model for one in label.candidates] == ["NV40-210", "NV32-210"]
    assert first(label) == ("Norwell", "NV40-210", "exact")


def test_grain_that_looks_like_a_code_is_no_model(book: Reader) -> None:
    read = read_as("NORWELL", "K7/X91B", "60Q2W")
    grain = tuple(one._replace(sure=0.5) for one in read.pieces[1:])
    assert asked(book, replace(read, pieces=(read.pieces[0], *grain))).candidates == ()


def test_a_year_to_come_is_no_year_of_the_set(book: Reader) -> None:
    assert asked(book, read_as("NORWELL", "Model: NV40-210", "Date: 05/2031")).year is None


def test_the_lists_of_labels_are_data(book: Reader) -> None:
    """Nothing of a language is in the code."""
    code = (Path(__file__).parents[2] / "kb" / "read" / "label.py").read_text("utf-8").lower()
    assert "serial" not in code
    assert "modell" not in code
