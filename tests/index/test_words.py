"""Which notes say so: words, phrases, filters and snippets over the text of findings."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from kb.index import Index, SetEntry
from kb.index.entry import Match
from kb.index.reader import notes_first
from tests.index.conftest import noted, sets

Book = Callable[..., Index]
NOTES = [
    noted(
        "Norwell: NV40-210",
        "headphone jack mutes the speakers; kitchen set",
        years=(2011, 2013),
        signals=("headphone",),
        outcomes=("carried",),
    ),
    noted(
        "Norwell: NV55-330",
        "optical stays silent until the sound menu is set to PCM",
        years=(2014, 2014),
        signals=("optical",),
        outcomes=("silent", "carried"),
    ),
    noted(
        "Ostrava: OX200",
        "humming on analog line, isolating transformer cured it",
        years=(2008, None),
        signals=("analog-line",),
        outcomes=("hum",),
    ),
    noted(
        "Belmont: BC7",
        "the menu for sound is hidden; lautstärke über Menü",
        signals=("optical",),
        outcomes=("carried",),
    ),
    *sets("Senda: S100"),
]


def models(index: Index, query: str) -> list[str]:
    return [m.model for m in index.find(query).matches]


def test_words_are_found_by_their_stem(book: Book) -> None:
    index = book(NOTES)
    assert models(index, "muted headphones") == ["NV40-210"]
    assert models(index, "hum") == ["OX200"]
    match = index.find("muted headphones").matches[0]
    assert match.how == "text"
    assert "headphone jack mutes" in match.snippet


def test_a_phrase_wants_its_words_together(book: Book) -> None:
    index = book(NOTES)
    assert models(index, '"sound menu"') == ["NV55-330"]
    assert set(models(index, "sound menu")) == {"NV55-330", "BC7"}


def test_make_and_words_together_ask_for_the_words_of_that_make(book: Book) -> None:
    assert models(book(NOTES), "norwell menu") == ["NV55-330"]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("menu signal:optical outcome:silent", ["NV55-330"]),
        ("menu make:belmont", ["BC7"]),
        ("jack year:2010-2012", ["NV40-210"]),
        ("jack year:2014-", []),
        ("hum year:2008", ["OX200"]),
        ("signal:optical outcome:carried", ["BC7", "NV55-330"]),
        ("make:norwell year:2010-2014 signal:optical outcome:silent", ["NV55-330"]),
        ("make:nobody", []),
    ],
)
def test_filters_narrow_a_search(book: Book, query: str, expected: list[str]) -> None:
    assert models(book(NOTES), query) == expected


def test_a_model_and_words_put_the_set_that_is_meant_first(book: Book) -> None:
    matches = book(NOTES).find("muted headphone 2012 kitchen model nv40").matches
    assert matches[0].model == "NV40-210"
    assert matches[0].snippet


def test_a_slip_in_a_word_is_forgiven(book: Book) -> None:
    assert models(book(NOTES), "headphnoe") == ["NV40-210"]


def test_two_wrong_letters_are_no_slip(book: Book) -> None:
    assert models(book(NOTES), "headphime") == []


@pytest.mark.parametrize("others", [0, 60], ids=["while it waits", "in the files"])
def test_a_word_that_only_a_replaced_text_had_may_be_a_slip_again(book: Book, others: int) -> None:
    index = book([*NOTES, noted("Halvor: H9", "the headphome is dead")])
    assert models(index, "headphome") == ["H9"]
    more = [noted(f"Halvor: F{n}", f"rattling fan number{n}") for n in range(others)]
    index.update([noted("Halvor: H9", "dead"), *more], [], 2)
    assert models(index, "headphome") == ["NV40-210"]


def test_accents_may_be_left_out(book: Book) -> None:
    assert models(book(NOTES), "lautstarke") == ["BC7"]


def test_a_recorded_visit_is_found_by_its_words_at_once_and_the_old_text_no_more(book: Book) -> None:
    index = book(NOTES)
    index.update(
        [noted("Ostrava: OX200", "selector at the wrong input"), noted("Halvor: H9", "rattling fan")], [], 2
    )
    assert models(index, "selector") == ["OX200"]
    assert models(index, "humming") == []
    assert models(index, "rattle") == ["H9"]
    index.update([], ["halvor/h9"], 3)
    assert models(index, "rattle") == []


def test_pending_texts_are_folded_in_and_give_the_same_answers(book: Book, folder: Path) -> None:
    index = book(NOTES)
    index.update(
        [noted(f"Halvor: H{n}", f"rattling fan number{n}") for n in range(60)], ["norwell/nv55-330"], 2
    )
    before = models(index, "rattling number7"), models(index, "silent")
    assert models(index, "kitchen") == ["NV40-210"]  # this search has folded them in
    database = next(folder.glob("gen-*/keys.sqlite"))
    import sqlite3

    with closing(sqlite3.connect(database)) as db:
        assert db.execute("SELECT count(*) FROM pending").fetchone() == (0,)
    assert (models(index, "rattling number7"), models(index, "silent")) == before
    assert before[0][0] == "H7"
    assert before[1] == []
    assert index.check() == []


def test_words_that_came_in_bit_by_bit_are_as_sure_as_those_of_a_new_index(book: Book) -> None:
    """Words in several files at once, and in visits of just now: each match has its share and its snippet."""
    index = book(NOTES)
    words = [f"k{one}{other}gbv" for one in "aeiou" for other in "bdfgkmpt"]
    added = [noted(f"Halvor: H{n}", f"rattling fan {word}") for n, word in enumerate(words)]
    for turn in range(8):
        index.update(added[5 * turn : 5 * turn + 5], [], 2 + turn)
        if turn < 7:
            index._fold_in(wait=True)  # the last ones are not in the files yet
    grown = [index.find(word).matches for word in words]
    index.rebuild([*NOTES, *added], 10)
    assert grown == [index.find(word).matches for word in words]
    assert {(match[0].score, match[0].snippet[:12]) for match in grown} == {(1.0, "rattling fan")}


def test_markup_and_control_characters_in_notes_come_back_as_plain_text(book: Book) -> None:
    snippet = (
        book([noted("Norwell: NV1-1", "[red]loud\x1b[31m buzz</b>\x00 here")]).find("buzz").matches[0].snippet
    )
    assert "\x1b" not in snippet
    assert "\x00" not in snippet
    assert "red]loud [31m buzz</b>" in snippet


def test_a_set_without_text_has_no_document_and_a_book_without_text_no_words(
    book: Book, folder: Path
) -> None:
    index = book(sets("Senda: S100"))
    assert not next(folder.glob("gen-*")).joinpath("words").exists()
    assert models(index, "kitchen cupboard") == []


def test_the_files_can_be_read_by_their_owner_only(book: Book, folder: Path) -> None:
    index = book(NOTES)
    index.update([noted("Halvor: H9", "rattling fan")], [], 2)
    index.find("rattling")
    for path in (folder, *folder.rglob("*")):
        mode = stat.S_IMODE(os.stat(path).st_mode)
        assert mode in ((0o700,) if path.is_dir() else (0o600,)), (path.name, oct(mode))


def test_a_query_for_a_model_imports_neither_whoosh_nor_sqlalchemy(book: Book, folder: Path) -> None:
    book(NOTES).close()
    script = (
        "import sys, json\nfrom pathlib import Path\nfrom kb.index import Index\n"
        "with Index.open(Path(sys.argv[1])) as index:\n"
        "    assert index.revision == 1\n"
        "    for query in ('norwel nv4O210', 'nv42-210', 'zz77?1', 'ostrava', 'nv40 signal:headphone'):\n"
        "        index.find(query)\n"
        "print(json.dumps([n for n in ('whoosh', 'sqlalchemy', 'click', 'rich') if n in sys.modules]))"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", script, str(folder)],
        capture_output=True,
        text=True,
        cwd=root,
        check=False,
    )
    assert done.stderr == ""
    assert json.loads(done.stdout) == []


def test_a_search_of_words_warns_of_nothing(book: Book, folder: Path) -> None:
    book(NOTES).close()
    script = (
        "import sys\nfrom pathlib import Path\nfrom kb.index import Index\n"
        "with Index.open(Path(sys.argv[1])) as index:\n"
        "    print(len(index.find('muted').matches))"
    )
    root = Path(__file__).parents[2]
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(folder / "fresh")}  # compiles Whoosh anew
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", script, str(folder)],
        capture_output=True,
        text=True,
        cwd=root,
        env=environment,
        check=False,
    )
    assert (done.stdout.strip(), done.stderr) == ("1", "")


def test_text_of_the_most_telling_field_is_shown(book: Book) -> None:
    entry = SetEntry(
        "k",
        "Norwell",
        "NV1",
        text=(("note", "menu somewhere"), ("setting", "sound menu: PCM"), ("marking", "OPTICAL OUT")),
    )
    assert book([entry]).find("menu").matches[0].snippet == "sound menu: PCM"


def test_the_set_that_was_named_is_found_by_a_phrase_that_many_sets_share(book: Book) -> None:
    said = (("note", "set in the sound menu"),)
    entries = [SetEntry(f"s{n}", "Norwell", f"NV{n}-{n * 7}", text=said) for n in range(20, 80)]
    index = book(
        [*entries, SetEntry("other", "Ostrava", "OX200-7", text=(("note", "the hidden sound menu"),))]
    )
    for query in ('ox200-7 "sound menu"', "ox200-7 sound menu"):
        match = index.find(query, limit=3).matches[0]
        assert (match.model, match.snippet) == ("OX200-7", "the hidden sound menu")


def test_words_that_are_sorted_through_files_are_the_same_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from kb.index import external_sort as sorting
    from kb.index import text_search

    entries = [
        noted(
            f"Norwell: NV{n}", f"menu {'kitchen' if n % 3 else 'chapel'} shelf{n % 40} wire{n}", years=(n, n)
        )
        for n in range(1900, 2300)
    ]
    runs = []
    write = sorting.Runs._write_run
    monkeypatch.setattr(sorting.Runs, "_write_run", lambda *given: (runs.append(1), write(*given))[1])

    def answers(name: str, megabytes: float) -> list[list[tuple[str, float]]]:
        monkeypatch.setattr(text_search, "_WRITER_MB", megabytes)
        index = Index.open(tmp_path / name)
        index.rebuild(entries, 1)
        asked = ("chapel", '"menu kitchen"', "kitchen 1950-1960")
        with index:
            return [
                [(one.model, one.score) for one in index.find(words_, limit=50).matches] for words_ in asked
            ]

    in_memory = answers("one", 128)
    assert not runs
    assert answers("many", 0.02) == in_memory
    assert len(runs) > 5
    assert all(in_memory)


def test_words_do_not_put_an_unlikely_number_before_a_likely_one(book: Book) -> None:
    index = book([*noted_sets(), *sets("Norwell: NV40-218")])
    assert index.find("client says nnv40-218 norwell").matches[0].model == "NV40-218"


@pytest.mark.parametrize(("likelier", "first"), [(0.79, "NV55-330"), (0.81, "NV40-210")])
def test_notes_that_say_the_words_outweigh_a_number_up_to_four_times_as_likely(
    likelier: float, first: str
) -> None:
    named = Match("n/1", "Norwell", "NV40-210", "television", 1, "", "", likelier, "near")
    told = Match("n/2", "Norwell", "NV55-330", "television", 1, "", "", 0.2, "near")
    assert notes_first([named, told], {"n/2"})[0].model == first
    assert notes_first([told, named], {"n/2"})[0].model == first


def noted_sets() -> list[SetEntry]:
    return [noted("Norwell: NV40-210", "client says it hums")]


def test_a_snippet_says_where_it_was_cut(book: Book) -> None:
    long = f"{'behind the cabinet ' * 12}the kitchen set hums {'on every channel ' * 12}".strip()
    index = book([noted("Norwell: NV40-210", long), noted("Ostrava: OX200", "kitchen")])
    cut, whole = (
        next(one.snippet for one in index.find("kitchen").matches if one.make == make)
        for make in ("Norwell", "Ostrava")
    )
    assert (cut[:4], cut[-4:], "kitchen set hums" in cut) == ("... ", " ...", True)
    assert whole == "kitchen"


@pytest.mark.parametrize(
    ("query", "how", "rest"),
    [
        ("nv40-210 mutes hum", "exact", 0.8),
        ("mrs hum off old model nv40-210", "near", 0.8),
        ("norwell old hum off nv40-210 2012", "near", 0.8),
        ("norwell nv40-210 hum", "exact", 0.7),
        ("nv40-210 isolator", "exact", 0.7),
        ("off hum set nv4o-2i0", "near", 0.5),
    ],
)
def test_short_words_beside_a_number_do_not_hide_its_set(
    book: Book, query: str, how: str, rest: float
) -> None:
    best = book(NOTES).find(query).matches[0]
    assert (best.model, best.how) == ("NV40-210", how)
    assert best.score > rest


def test_a_complaint_of_three_letters_is_searched_beside_a_number(book: Book) -> None:
    assert "OX200" in models(book(NOTES), "norwell nv40-210 hum")


def test_words_are_not_taken_for_a_make_that_they_happen_to_resemble(book: Book) -> None:
    index = book([*NOTES, *sets("Berlint: A451", "Ostrava: E451")])
    assert models(index, "a451 headphone kitchen behind")[0] == "A451"


def test_a_word_that_resembles_a_number_is_not_stated_with_confidence(book: Book) -> None:
    index = book([*NOTES, *sets("Winnova: H8-US", "Myrtle: brown 1")])
    for query in ("bus piano church window", "tuner church back brown lost"):
        assert all(match.score < 0.3 for match in index.find(query).matches), query


@pytest.mark.parametrize(
    "query", ["norwell nv40-999 kitchen", "norwell silent optical nv40-999", "norwell nv40-999 hum"]
)
def test_words_beside_an_unknown_number_of_a_known_make_do_not_hide_its_siblings(
    book: Book, query: str
) -> None:
    matches = book(NOTES).find(query).matches
    assert {match.model for match in matches if match.how == "family"} == {"NV40-210", "NV55-330"}
    assert matches[0].how == "family"


def test_a_number_that_is_no_set_does_not_hide_the_word_beside_it(book: Book) -> None:
    assert models(book(NOTES), "12:30 hum") == ["OX200"]
