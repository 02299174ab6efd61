"""The main job at the command line: record a panel, find the set again, be told how to connect it."""

from __future__ import annotations

import json
import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kb.domain.language import ENGLISH
from tests.cli.conftest import Run

VisitFile = Callable[..., Path]

PATH_KEYS = {
    "jack",
    "signal",
    "items",
    "input",
    "needs_dac",
    "speakers",
    "steps",
    "cautions",
    "p_works",
    "findings",
    "delay_ms",
    "level",
}


def test_record_find_show_path(jackfield: Run, visit_file: VisitFile) -> None:
    recorded = jackfield("record", "--file", visit_file(), "--json").json
    (one,) = recorded["recorded"]
    assert (one["make"], one["model"], recorded["already"]) == ("Norwell", "NV40-210", [])

    found = jackfield("find", "nv40", "210", "--json").json
    (match,) = found["matches"]
    assert (match["make"], match["model"], match["how"], match["findings"]) == (
        "Norwell",
        "NV40-210",
        "exact",
        3,
    )
    assert 0 < match["score"] <= 1
    assert match["best"] == {
        "signal": "optical",
        "items": ["optical cable 2 m", "DAC", "RCA pair to 3.5 mm cable 2 m"],
        "needs_dac": True,
        "speakers": "stay-on",
    }

    shown = jackfield("show", "norwell", "NV 40/210", "--json").json
    assert [jack["direction"] for jack in shown["panel"]] == ["output", "input", "output"]
    assert shown["visits"][0]["id"] == one["visit"]

    path = jackfield("path", "Norwell", "NV40-210", "--inputs", "line-3.5,optical", "--json").json
    assert set(path) == {"chosen", "others", "ruled_out", "dac", "ask", "noted"}
    assert set(path["chosen"]) >= PATH_KEYS
    assert (path["chosen"]["jack"], path["chosen"]["input"]) == (0, "optical")
    assert path["dac"]["needed"] is False
    assert {(r["jack"], r["code"]) for r in path["ruled_out"]} == {
        (1, "not-an-output"),
        (2, "mutes-speakers"),
    }


def test_recording_the_same_file_twice_adds_nothing(jackfield: Run, visit_file: VisitFile) -> None:
    first = jackfield("record", "--file", visit_file(), "--json").json
    again = jackfield("record", "--file", visit_file(), "--json").json
    assert again == {"recorded": [], "already": [first["recorded"][0]["visit"]], "reinstated": []}


def test_visits_come_from_stdin_and_as_a_list(jackfield: Run, visit_file: VisitFile) -> None:
    one = json.loads(visit_file().read_text())
    two = one | {"source": {"make": "Hallmere", "model": "32FN14"}}
    done = jackfield("record", "--file", "-", "--json", stdin=json.dumps([one, two]))
    assert [r["model"] for r in done.json["recorded"]] == ["NV40-210", "32FN14"]


def test_a_toml_file_holds_the_same_keys(jackfield: Run, tmp_path: Path) -> None:
    file = tmp_path / "visit.toml"
    file.write_text(
        'date = 2026-03-04\n[source]\nmake = "Norwell"\nmodel = "NV40-210"\n'
        '[[jacks]]\nform = "rca-pair"\nmarking = "AUDIO OUT"\n'
    )
    assert jackfield("record", "--file", file).code == 0
    assert jackfield("path", "Norwell", "NV40-210", "--json").json["dac"]["needed"] is False


def test_a_usual_set_is_recorded_in_one_line(jackfield: Run) -> None:
    done = jackfield(
        "record", "Norwell", "NV40-210", "2014", "opt=OPTICAL OUT:ok,pcm", "hp:mute", "rca=AUDIO:in"
    )
    assert (done.code, "A new book was begun" in done.err) == (0, True)
    shown = jackfield("show", "Norwell", "NV40-210", "--json").json
    assert shown["source"]["year"] == 2014
    assert [j["signal"] for j in shown["panel"]] == ["optical", "headphone", None]
    assert shown["visits"][0]["basis"] == "tested"


def test_one_wrong_visit_in_a_list_records_none(jackfield: Run, visit_file: VisitFile) -> None:
    one = json.loads(visit_file().read_text())
    done = jackfield("record", "--file", "-", stdin=json.dumps([one, one | {"date": "soon"}]))
    assert done.code == 2
    assert "visit 2, date: saw 'soon'" in done.err
    assert jackfield("find", "norwell").code == 1


def test_questions_at_the_terminal_record_when_confirmed(jackfield: Run) -> None:
    answers = [
        "Norwell",
        "NV40-210",
        "about 2014",
        "opt=“OPTICAL OUT”:ok,pcm",  # as the guide has it, in quotes that a telephone made curly
        "hp:mutte",  # a slip: told, and asked again
        "hp:mute",
        "rca=AUDIO",
        "undo",
        "toslnk",
        "rca",
        "MONITOR OUT",
        "carried",
        "on",
        "",
        "a note",
        "y",
    ]
    done = jackfield("record", "--ask", stdin="\n".join(answers) + "\n")
    assert done.code == 0, done.err
    assert done.out.count("OPTICAL OUT: read as output") == 1
    shown = jackfield("show", "Norwell", "NV40-210", "--json").json
    assert shown["source"]["year"] == 2014
    assert [(j["marking"], j["speakers"]) for j in shown["panel"]] == [
        ("OPTICAL OUT", "unknown"),
        ("", "mute"),
        ("MONITOR OUT", "stay-on"),
    ]


def test_a_make_alone_is_not_said_to_be_met_by_nobody(jackfield: Run) -> None:
    jackfield("record", "Norwell", "NV40-210", "opt:ok")
    for command in ("show", "path"):
        done = jackfield(command, "Norwell")
        assert done.code == 1
        assert done.err == "jackfield: no model Norwell in the book; near it: Norwell NV40-210\n"


def test_a_set_known_by_name_only_is_not_told_as_one_without_outputs(jackfield: Run) -> None:
    jackfield("record", "Norwell", "NV40-210")
    done = jackfield("path", "Norwell", "NV40-210")
    assert (done.code, "No jack of this set is recorded yet" in done.out) == (1, True)
    jackfield("record", "Norwell", "NV40-220", "rca=AUDIO IN")
    assert "is recorded yet" not in jackfield("path", "Norwell", "NV40-220").out


@pytest.mark.parametrize("last", ["n", "quit"])
def test_nothing_is_saved_until_confirmed(jackfield: Run, last: str) -> None:
    ending = ["", "", "n"] if last == "n" else ["quit"]
    done = jackfield("record", "--ask", stdin="\n".join(["Norwell", "NV40", "", "opt:ok", *ending]) + "\n")
    assert (done.code, "nothing was saved" in done.err) == (1, True)
    assert jackfield("find", "nv40").code == 1


def test_a_terminal_that_goes_away_saves_nothing(jackfield: Run) -> None:
    done = jackfield("record", "--ask", stdin="Norwell\nNV40\n")
    assert done.code == 130
    assert jackfield("find", "nv40").code == 1


def test_who_stops_the_questions_gets_the_line_that_records_what_was_in(jackfield: Run) -> None:
    answers = ["Norwell", "NV40-210", "2014", "opt=OPTICAL OUT:ok,pcm", "hp", "", "ok", "mute", "rca=AUDIO"]
    done = jackfield(
        "record", "--ask", "--job", "J-9", "--date", "2026-03-04", stdin="\n".join(answers) + "\n"
    )
    assert done.code == 130
    line = next(line for line in done.err.splitlines() if line.startswith("  jackfield record"))
    assert jackfield(*shlex.split(line)[1:]).code == 0
    shown = jackfield("show", "Norwell", "NV40-210", "--json").json
    assert shown["source"]["year"] == 2014
    assert [(jack["marking"], jack["signal"], jack["speakers"]) for jack in shown["panel"]] == [
        ("OPTICAL OUT", "optical", "unknown"),
        ("", "headphone", "mute"),
        ("AUDIO", None, "unknown"),
    ]
    [visit] = jackfield("history", "Norwell", "NV40-210", "--json").json["visits"]
    assert (visit["date"], visit["job"]) == ("2026-03-04", "J-9")


@pytest.mark.parametrize(
    ("words", "package", "extra"),
    [
        (["serve"], "flask", "web"),
        (["loop", "--room", "5x4", "--svg", "field.svg"], "matplotlib", "plot"),
        (["share", "key", "rt.key", "--name", "RT"], "cryptography", "sign"),
        (["find", "nv40", "--store", "postgresql+psycopg://rt@localhost/none"], "psycopg", "team"),
    ],
)
def test_a_missing_extra_is_the_same_answer_everywhere_and_says_what_to_install(
    jackfield: Run, monkeypatch: pytest.MonkeyPatch, words: list[str], package: str, extra: str
) -> None:
    for name in [*sys.modules]:
        if name.startswith(("flask", "matplotlib", "cryptography", "psycopg", "kb.web")):
            monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, package, None)
    done = jackfield(*words)
    assert (done.code, done.out) == (2, "")
    assert done.err.endswith(
        f"the package {package} is not installed; "
        f"add the extra: pip install '.[{extra}]' in Jackfield's folder\n"
    )


def test_a_slip_in_year_or_note_is_asked_again_and_costs_no_jack(jackfield: Run) -> None:
    answers = ["Norwell", "NV40", "1804", "20x4", "2014", "opt=OPTICAL OUT:ok", "", "n" * 4001, "a note", "y"]
    done = jackfield("record", "--ask", stdin="\n".join(answers) + "\n")
    assert done.code == 0, done.err
    assert "year: saw 1804, expected a year, 1930 to" in done.err
    shown = jackfield("show", "Norwell", "NV40", "--json").json
    assert shown["source"]["year"] == 2014
    assert [jack["marking"] for jack in shown["panel"]] == ["OPTICAL OUT"]


@pytest.mark.parametrize(
    ("jack", "known"),
    [
        ("scart", "jack 1 SCART: read as output, analog line (SCART gives analog sound out at pins 1 and 3"),
        ("spk", "output, speaker level (loudspeaker terminals carry power, not line level)"),
        ("opt:ok", "output, optical digital (sound came out of it)"),
        ("opt", "unclear, optical digital (no mark: never guessed)"),
    ],
)
def test_what_an_unmarked_jack_is_read_as_says_how_it_is_known(jackfield: Run, jack: str, known: str) -> None:
    done = jackfield("record", "Norwell", "NV40", jack)
    assert known in " ".join(done.out.split())


def test_who_types_a_headphone_jack_is_not_asked_whether_it_is_an_output(jackfield: Run) -> None:
    """The short name says that the sign is printed there, at the prompt as in one line."""
    answers = ["Norwell", "NV40", "", "hp", "", "ok", "mute", "arc", "HDMI 1", "", "", "", "", "y"]
    done = jackfield("record", "--ask", stdin="\n".join(answers) + "\n")
    assert done.code == 0, done.err
    headphone, hdmi = jackfield("show", "Norwell", "NV40", "--json").json["panel"]
    assert (headphone["direction"], headphone["signal"]) == ("output", "headphone")
    assert (hdmi["direction"], hdmi["signal"]) == ("output", "arc")
    assert "out, in or unclear" not in done.err


def test_the_questions_of_record_are_asked_in_the_language_of_the_settings(jackfield: Run) -> None:
    jackfield("record", "Norwell", "NV40", "opt:ok")
    jackfield("settings", "--language", "es")
    answers = [
        "Norwell",
        "NV40",
        "",
        "?",
        "rca",
        "",
        "what",
        "out",
        "",
        "",
        "undo",
        "hp",
        "",
        "ok",
        "mute",
        "",
        "",
        "y",
    ]
    done = jackfield("record", "--ask", stdin="\n".join(answers) + "\n")
    assert done.code == 0, done.err
    said = " ".join((done.err + done.out).split())
    for question in (
        "Marca", "Año de fabricación (Intro si no se conoce)", "1 visita anterior a este aparato",
        "Escriba una forma",
        "Toma 1", "palabras", "lo que está impreso junto a ella", "salida, entrada o dudosa",
        "había 'what', se esperaba: in, out", "qué resultado dio", "los altavoces del aparato", "Nota (Intro",
        "¿Guardar esta visita?",
    ):  # fmt: skip
        assert question in said
    for english in ("Enter", "Save", "Jack 1", "printed", "earlier"):
        assert english not in said


def test_quit_saves_nothing_wherever_it_is_typed(jackfield: Run, home: Path) -> None:
    for answers in (["quit"], ["opt", "quit"], ["opt", "", "quit"], ["hp", "", "quit"]):
        done = jackfield("record", "--ask", stdin="\n".join(["Norwell", "NV40", "", *answers]) + "\n")
        assert done.code == 1
        assert "nothing was saved" in done.err
    assert not (home / "book.sqlite").exists()


def test_path_for_a_panel_that_is_not_in_the_book(jackfield: Run, visit_file: VisitFile, home: Path) -> None:
    jacks = [
        {"form": "toslink", "marking": "OPTICAL OUT", "taken": True},
        {"form": "jack-3.5", "marking": "PHONES"},
    ]
    path = jackfield("path", "--panel", visit_file(jacks=jacks), "--speakers-free", "--json").json
    assert path["chosen"]["jack"] == 1
    assert [(r["jack"], r["code"]) for r in path["ruled_out"]] == [(0, "taken")]
    assert not (home / "book.sqlite").exists()  # asking leaves no trace


@pytest.mark.parametrize(
    ("jack", "level"),
    [
        ("opt=OPTICAL OUT:ok", "most digital outputs keep it fixed"),
        ("rca=AUDIO OUT:ok", "it may follow the remote control"),
        ("hp=HEADPHONE:ok", "follows the headphone volume"),
    ],
)
def test_a_level_that_nobody_noted_is_told_as_outputs_of_that_kind_have_it(
    jackfield: Run, jack: str, level: str
) -> None:
    jackfield("record", "Norwell", "NV40-210", jack)
    assert level in " ".join(jackfield("path", "Norwell", "NV40-210").out.split())


def test_the_head_of_a_path_says_where_visits_disagree(jackfield: Run, visit_file: VisitFile) -> None:
    for date, speakers, level in (
        ("2026-03-04", "mute-unless-set", "fixed"),
        ("2026-03-05", "stay-on", "variable"),
    ):
        jack = {"form": "rca-pair", "marking": "AUDIO OUT", "speakers": speakers, "level": level}
        jackfield("record", "--file", visit_file(date=date, jacks=[jack]))
    head = jackfield("path", "Norwell", "NV40-210").out
    assert "stay on; visits disagree" in head
    assert "follows the remote control; visits disagree" in head
    chosen = jackfield("path", "Norwell", "NV40-210", "--json").json["chosen"]
    assert (chosen["speakers"], chosen["level"]) == ("stay-on", "variable")


def test_inputs_that_are_out_together_are_spoken_of_as_several(jackfield: Run, visit_file: VisitFile) -> None:
    jacks = [{"form": "rca-pair", "marking": mark} for mark in ("AUDIO OUT", "AUDIO", "COMPONENT AUDIO")]
    path = ("path", "--panel", visit_file(jacks=jacks))
    assert "AUDIO, COMPONENT AUDIO: These are inputs:" in jackfield(*path).out
    assert jackfield(*path, "--json").json["ruled_out"][0]["why"].startswith("This is an input:")


def test_an_output_in_use_can_be_said(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    path = jackfield("path", "Norwell", "NV40-210", "--taken", "optical", "--json").json
    assert "optical splitter" in path["chosen"]["items"]


def test_no_path_is_a_true_no(jackfield: Run) -> None:
    jackfield("record", "Kestering", "KTG24", "hp:mute")
    done = jackfield("path", "Kestering", "KTG24", "--json")
    assert done.code == 1
    assert done.json["chosen"] is None
    assert jackfield("path", "Kestering", "KTG24", "--speakers-free").code == 0


def test_batch_answers_a_query_a_line(jackfield: Run, visit_file: VisitFile, tmp_path: Path) -> None:
    jackfield("record", "--file", visit_file())
    queries = tmp_path / "queries.txt"
    queries.write_text("nv40-210\n\nnorwell nv40 210\nzzz 999\n")
    lines = [json.loads(line) for line in jackfield("find", "--batch", queries).out.splitlines()]
    assert [len(line["matches"]) for line in lines] == [1, 1, 0]
    again = jackfield("find", "--batch", "-", stdin="nv40-210\n").out
    assert json.loads(again)["query"] == "nv40-210"


def test_a_query_that_is_no_text_does_not_cost_the_others_their_answers(
    jackfield: Run, visit_file: VisitFile, tmp_path: Path
) -> None:
    jackfield("record", "--file", visit_file())
    queries = tmp_path / "queries.txt"
    queries.write_bytes(b"nv40-210\r\n\n\xff\xfe\nnorwell\n")
    for done in (
        jackfield("find", "--batch", queries),
        jackfield("find", "--batch", "-", stdin=queries.read_bytes().decode("utf-8", "surrogateescape")),
    ):
        answers = [json.loads(line) for line in done.out.splitlines()]
        assert [bool(answer["matches"]) for answer in answers] == [True, False, True]
        assert answers[0]["query"] == "nv40-210"
        assert "line 3, query: saw bytes that are not UTF-8, expected text in UTF-8" in done.err
        assert done.code == 2
        done.out.encode("utf-8")  # no half of a pair that strict readers refuse
        assert "\\ud" not in done.out


def test_a_line_of_a_batch_that_is_far_too_long_is_refused_and_not_kept(
    jackfield: Run, visit_file: VisitFile
) -> None:
    jackfield("record", "--file", visit_file())
    for long in ("é" * 200_000, "n" * 65_536, "n" * 65_535, "n" * 131_072):
        done = jackfield("find", "--batch", "-", stdin=f"{long}\nnv40-210\n")
        refused, found = map(json.loads, done.out.splitlines())
        assert done.code == 2
        assert "standard input, line 1" in done.err
        assert "UTF-8" not in done.err
        assert len(refused["query"]) <= 65_536
        assert found["matches"][0]["model"] == "NV40-210"


def test_a_batch_of_nothing_gets_no_answer(jackfield: Run, tmp_path: Path) -> None:
    queries = tmp_path / "queries.txt"
    queries.write_text("")
    assert (jackfield("find", "--batch", queries).code, jackfield("find", "--batch", queries).out) == (0, "")


def test_an_unknown_set_is_a_true_no(jackfield: Run, visit_file: VisitFile) -> None:
    assert jackfield("find", "anything", "--json").json["matches"] == []
    jackfield("record", "--file", visit_file())
    done = jackfield("show", "Norwell", "NV40-211")
    assert done.code == 1
    assert "NV40-210" in done.err


def test_the_model_alone_is_enough_where_it_means_one_set(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    assert jackfield("show", "nv40-210", "--json").json["source"]["make"] == "Norwell"
    assert jackfield("path", "nv40-210").code == 0
    jackfield("record", "Hallmere", "NV40-210")
    done = jackfield("path", "nv40-210")
    assert (done.code, "say the make too" in done.err) == (1, True)


def test_json_answers_a_true_no_as_well(jackfield: Run) -> None:
    done = jackfield("show", "Norwell", "NV1", "--json")
    assert (done.code, done.json["source"], done.json["visits"]) == (1, None, [])
    done = jackfield("path", "Norwell", "NV1", "--json")
    assert (done.code, done.json["chosen"], done.json["dac"]["needed"]) == (1, None, False)


def test_options_take_the_words_of_the_vocabulary(jackfield: Run) -> None:
    words = ["--basis", "seen", "--display", "flat", "--kind", "television", "--size", "40", "--year", "2014"]
    assert jackfield("record", "Norwell", "NV1", *words).code == 0
    assert jackfield("settings", "--units", "feet").code == 0
    source = jackfield("show", "Norwell", "NV1", "--json").json["source"]
    assert (source["display"], source["size_in"]) == ("flat", 40)


def test_a_home_that_is_a_file_is_told(jackfield: Run, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for words in (["find", "x"], ["show", "a", "b"], ["record", "Norwell", "NV1"]):
        assert jackfield(*words, "--home", tmp_path / "file").code == 3


def test_a_driver_that_nobody_has_is_told_with_those_there_are_each_once(
    jackfield: Run, visit_file: VisitFile
) -> None:
    jackfield("settings", "--driver", "bench driver", "--inputs", "line-3.5")
    done = jackfield("path", "--panel", visit_file(), "--driver", "nobody")
    assert done.code == 2
    assert done.err.count("bench driver") == 1


def test_what_stands_in_a_file_is_told_in_plain_words(jackfield: Run) -> None:
    done = jackfield("record", "--file", "-", stdin='"a set"')
    assert done.err == "jackfield: standard input, visit: saw text, expected an object with date and source\n"


def test_settings_choose_the_usual_driver(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    done = jackfield("settings", "--driver", "van driver", "--inputs", "optical,line-rca", "--initials", "RT")
    assert done.code == 0
    assert jackfield("find", "nv40-210", "--json").json["matches"][0]["best"]["needs_dac"] is False
    assert jackfield("path", "Norwell", "NV40-210", "--json").json["chosen"]["input"] == "optical"


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["record"], "nothing to record"),
        (["record", "Norwell"], "MAKE MODEL"),
        (["record", "Norwell", "X1", "optic:ok"], "jack 1"),
        (["record", "Norwell", "X1", "--date", "soon"], "date"),
        (["record", "Norwell", "X" * 10_000], "model"),
        (["record", "Norwell\x1b[31m", "X1"], "make"),
        (["record", "--file", "/no/such/file.json"], "file not found"),
        (["find"], "find: missing, expected a make"),
        (["find", "x" * 5000], "query"),
        (["path"], "MAKE MODEL"),
        (["path", "Norwell", "NV40-210", "--inputs", "usb"], "inputs"),
        (["path", "Norwell", "NV40-210", "--inputs", ""], "inputs"),
        (["path", "Norwell", "NV40-210", "--length", "-1"], "length"),
        (["path", "Norwell", "NV40-210", "--length", "nan"], "length"),
        (["path", "Norwell", "NV40-210", "--have", "magic"], "have"),
        (["path", "Norwell", "NV40-210", "--driver", "none such"], "driver"),
        (["settings", "--units", "furlongs"], "units"),
        (["settings", "--inputs", "usb"], "inputs"),
        (["nonsense"], "nonsense"),
        (["find", "--limit", "0", "x"], "limit"),
    ],
)
def test_wrong_input_gets_one_clear_message(
    jackfield: Run, visit_file: VisitFile, words: list[str], named: str
) -> None:
    jackfield("record", "--file", visit_file())
    before = jackfield("show", "Norwell", "NV40-210", "--json").out
    done = jackfield(*words)
    assert (done.code, done.out) == (2, "")
    assert named in done.err
    assert "Traceback" not in done.err
    assert "\x1b" not in done.err
    assert len(done.err) < 700
    assert jackfield("show", "Norwell", "NV40-210", "--json").out == before


def test_a_book_that_is_no_database_is_told(jackfield: Run, home: Path, visit_file: VisitFile) -> None:
    home.mkdir()
    (home / "book.sqlite").write_bytes(b"this is no database at all, only text" * 100)
    for words in (["find", "nv40"], ["show", "Norwell", "NV40"], ["record", "--file", str(visit_file())]):
        done = jackfield(*words)
        assert (done.code, done.out) == (3, "")
        assert "book.sqlite" in done.err
        assert "Traceback" not in done.err
    assert (home / "book.sqlite").read_bytes().startswith(b"this is no database")


def test_json_is_the_only_thing_on_stdout(jackfield: Run, visit_file: VisitFile) -> None:
    commands: list[list[Any]] = [
        ["record", "--file", visit_file()],
        ["find", "nv40"],
        ["show", "Norwell", "NV40-210"],
        ["path", "Norwell", "NV40-210"],
        ["settings"],
    ]
    for words in commands:
        json.loads(jackfield(*words, "--json").out)


def test_another_home_is_another_book(jackfield: Run, visit_file: VisitFile, tmp_path: Path) -> None:
    jackfield("record", "--file", visit_file(), "--home", tmp_path / "other")
    assert jackfield("find", "nv40").code == 1
    assert jackfield("--home", tmp_path / "other", "find", "nv40").code == 0


@pytest.mark.parametrize(
    ("score", "shown"), [(0.004, "under 1%"), (0.0, "0%"), (0.206, "21%"), (1.0, "100%")]
)
def test_a_small_chance_is_not_shown_as_none(score: float, shown: str) -> None:
    from kb.cli.found import percent

    assert percent(score, ENGLISH) == shown


def test_the_way_to_the_driver_may_be_told_in_feet(jackfield: Run, visit_file: VisitFile) -> None:
    def items(*words: str) -> list[str]:
        answer = jackfield("path", "--panel", visit_file(), "--inputs", "optical", "--json", *words)
        return list(answer.json["chosen"]["items"])

    assert items("--length", "10ft") == items("--length", "3.048") == ["optical cable 5 m"]
    done = jackfield("path", "--panel", visit_file(), "--length", "far")
    assert (done.code, done.err.startswith("jackfield: --length: saw 'far', expected a length")) == (2, True)
    assert jackfield("path", "--panel", visit_file(), "--length", "101").code == 2


def test_a_bare_length_to_the_driver_is_feet_where_the_settings_say_feet(
    jackfield: Run, visit_file: VisitFile
) -> None:
    def best(*more: str) -> str:
        return jackfield("path", "--panel", visit_file(), "--inputs", "optical", "--length", "10", *more).out

    assert "optical cable 10 m" in best()
    jackfield("settings", "--units", "feet")
    assert "optical cable 5 m" in best()
    assert '"optical cable 10 m"' in best("--json")
    for command in (["path"], ["sheet", "--out", "-"], ["tag", "--out", "-"]):
        done = jackfield(*command, "--panel", visit_file(), "--length", "10")
        assert done.err.startswith("10: read as feet; for metres write m\n")
    one_set = ("pack", "--year", "2014", "--inputs", "line-3.5", "--length")
    assert "10: read as feet; for metres write m" in jackfield(*one_set, "10").err
    assert jackfield(*one_set, "10").out == jackfield(*one_set, "10 ft").out
    assert jackfield(*one_set, "10 m").err == ""


def test_pack_knows_the_drivers_by_name_as_path_does(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    by_name = jackfield("pack", "Norwell", "NV40-210", "--driver", "bench driver", "--json").json
    from kb.catalogue.drivers import drivers

    listed = ",".join(next(one.inputs for one in drivers() if one.name == "bench driver"))
    assert by_name == jackfield("pack", "Norwell", "NV40-210", "--inputs", listed, "--json").json
    assert jackfield("pack", "Norwell", "--driver", "bench driver", "--inputs", listed).code == 2


@pytest.mark.parametrize(
    "words",
    [
        "find zz",
        "show A B",
        "path A B",
        "sheet A B",
        "tag A B",
        "history A B",
        "undo",
        "withdraw 01a21335",
        "correct 01a21335 year=2015",
        "backup",
        "doctor",
        "dump all.jsonl",
        "share out all.jsonl",
        "share review",
    ],
)
def test_a_program_gets_one_document_when_the_answer_is_no(jackfield: Run, words: str) -> None:
    done = jackfield(*words.split(), "--json")
    assert done.code == 1
    assert isinstance(done.json, dict)


def test_a_name_very_like_a_known_one_is_asked_about(jackfield: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    jackfield("record", "Norwell", "NV40-210", "opt:ok")
    monkeypatch.setattr("kb.cli.record.at_terminal", lambda: True)
    done = jackfield("record", "Norwel", "NV4O-210", "hp:mute", stdin="y\n")
    assert "Did you mean Norwell NV40-210" in done.err
    assert len(jackfield("show", "Norwell", "NV40-210", "--json").json["visits"]) == 2
    jackfield("record", "Norwel", "NV4O-210", "hp:mute", stdin="n\n")
    assert len(jackfield("show", "Norwel", "NV4O-210", "--json").json["visits"]) == 1


def test_where_nobody_can_be_asked_a_name_like_a_known_one_is_said(jackfield: Run) -> None:
    jackfield("record", "Norwell", "NV40-210", "opt:ok")
    done = jackfield("record", "Norwel", "NV4O-210", "hp:mute")
    assert done.code == 0
    assert "If it is Norwell NV40-210" in done.err
    assert "If it is" not in jackfield("record", "Norwell", "NV4O-21O", "hp:mute", "--new").err
    assert "If it is" not in jackfield("record", "Norwell", "NV40-218", "hp:mute").err


def test_a_jack_is_not_recorded_as_a_model(jackfield: Run) -> None:
    done = jackfield("record", "Norwell NV40-210", "opt:ok", "hp:mute")
    assert done.code == 2
    assert "make and model as two words" in done.err


def test_an_empty_visit_is_not_saved_by_a_dialogue(jackfield: Run) -> None:
    done = jackfield("record", "--ask", stdin="Norwell\nNV40-210\n\n\n\n")
    assert (done.code, "nothing to record" in done.err) == (1, True)
    assert jackfield("find", "nv40-210").code == 1


def test_show_and_path_tell_the_notes_that_matter_with_whose_and_when(
    jackfield: Run, visit_file: VisitFile
) -> None:
    optical = {"form": "toslink", "marking": "OPTICAL OUT", "outcome": "silent"}
    jacks = [
        {**optical, "note": "no light, shutter stuck"},
        {"form": "rca-pair", "marking": "AUDIO OUT", "note": "loose, hold it"},
        {"form": "rca-pair", "marking": "AUDIO IN", "note": "games console here"},
    ]
    jackfield("record", "--file", visit_file(jacks=jacks, by="RT", date="2026-03-04"))
    shown = jackfield("show", "Norwell", "NV40-210").out
    assert "no light, shutter stuck (RT, 2026-03-04)" in " ".join(shown.split())
    path = " ".join(jackfield("path", "Norwell", "NV40-210", "--inputs", "line-rca").out.split())
    assert "AUDIO OUT: loose, hold it (RT, 2026-03-04)" in path
    assert "OPTICAL OUT: no light, shutter stuck (RT, 2026-03-04)" in path
    assert "games console" not in path, "an input is no way"
    noted = jackfield("path", "Norwell", "NV40-210", "--inputs", "line-rca", "--json").json["noted"]
    assert [(one["jack"], one["by"], one["date"]) for one in noted] == [
        (1, "RT", "2026-03-04"),
        (0, "RT", "2026-03-04"),
    ]


def test_a_note_that_was_repeated_has_the_newest_date(jackfield: Run, visit_file: VisitFile) -> None:
    jack = {"form": "rca-pair", "marking": "AUDIO OUT", "note": "loose"}
    for day in ("2026-03-04", "2026-05-06"):
        jackfield("record", "--file", visit_file(jacks=[jack], by="RT", date=day))
    (noted,) = jackfield("show", "Norwell", "NV40-210", "--json").json["panel"][0]["noted"]
    assert noted == {"text": "loose", "by": "RT", "date": "2026-05-06"}


def test_a_second_source_at_the_drivers_input_asks_for_a_mixer(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file(jacks=[{"form": "rca-pair", "marking": "AUDIO OUT"}]))
    asked = ("path", "Norwell", "NV40-210", "--inputs", "line-rca", "--json")
    alone = jackfield(*asked).json["chosen"]["items"]
    both = jackfield(*asked, "--shared-input", "line-rca").json["chosen"]["items"]
    assert "two-source line mixer" in both
    assert "two-source line mixer" not in alone
    assert jackfield(*asked, "--shared-input", "optical").code == 2


def test_the_hdmi_output_of_a_box_is_shown_as_one_and_is_against_no_mark(
    jackfield: Run, visit_file: VisitFile
) -> None:
    source = {"make": "Tessarin", "model": "SB2", "kind": "set-top-box"}
    jackfield("record", "--file", visit_file(source=source, jacks=[{"form": "hdmi", "marking": "HDMI"}]))
    shown = jackfield("show", "Tessarin", "SB2").out
    assert "HDMI with the picture" in shown
    assert "reads as" not in shown
    assert "HDMI audio extractor" in jackfield("path", "Tessarin", "SB2", "--inputs", "line-3.5").out


def test_a_jack_against_its_mark_is_told_in_one_line_with_what_was_read_of_it(jackfield: Run) -> None:
    recorded = jackfield("record", "Norwell", "NV1", "rca=AUDIO IN:out,ok", "opt=OPTICAL OUT:ok")
    [against, other] = [part for part in recorded.out.replace("\n", " ").split("jack ") if part]
    assert against.startswith(
        "1 AUDIO IN: kept as output, as you say, and read as analog line; the mark reads"
    )
    assert other.startswith("2 OPTICAL OUT: read as output, optical digital")


def test_backups_corrections_and_bundles_are_told_in_the_language_of_the_settings(
    jackfield: Run, tmp_path: Path
) -> None:
    jackfield("settings", "--language", "es")
    jackfield("record", "Norwell", "NV40", "opt:ok", "--note", "tel. 0555 010 2233")
    jackfield("record", "Norwel", "NV4O", "opt=call 0555 010 2233:ok")
    dump, bundle = tmp_path / "dump.jsonl", tmp_path / "bundle.jsonl"
    visit = jackfield("history", "Norwell", "NV40", "--json").json["visits"][0]["id"]
    expected = {
        ("merge", "Norwel", "NV4O", "--into", "Norwell", "NV40"): "desde ahora (unión",
        ("withdraw", visit): "retirada",
        ("undo",): f"se deshace la retirada {visit[:8]}: Norwell NV40, visita del",
        ("backup",): "2 visitas con 2 hallazgos, comprobado:",
        ("backup", "--list"): "revisión",
        ("restore", "--replace"): "el libro anterior se conserva:",
        ("doctor",): "integridad bien",
        ("dump", dump): "2 visitas escritas, con las palabras privadas",
        ("load", dump): "cargado: 0 visitas con 0 hallazgos 5 registros ya estaban en el libro",
        ("share", "review"): "toma 1, rótulo: 'call 0555 010 2233' [un número de teléfono]",
        ("share", "out", bundle): "retenida: Norwel NV4O",
        ("share", "in", bundle): "(firma: ninguna): 0 visitas con 0 hallazgos",
        ("share", "bundles"): "sin firmar",
        ("share", "trust"): "se reciben paquetes de cualquiera, firmados o no",
    }
    for command, sentence in expected.items():
        done = jackfield(*command)
        assert sentence in " ".join((done.out + done.err).split()), command


def test_a_damaged_settings_file_does_not_hinder_a_backup(jackfield: Run, home: Path) -> None:
    jackfield("record", "Norwell", "NV40", "opt:ok")
    (home / "settings.toml").write_text("language = 7\n")
    done = jackfield("backup")
    assert (done.code, "1 visit with 1 finding, checked:" in done.out) == (0, True)


def test_the_questions_of_record_fit_a_narrow_terminal(
    jackfield: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    typed = ["Norwell", "NV40", "", "?", "opt=OUT:oka,pcm", "rca", "", "sideways", "quit"]
    for language in ("en", "es"):
        jackfield("settings", "--language", language)
        done = jackfield("record", "--ask", stdin="\n".join(typed) + "\n")
        assert [line for line in done.err.splitlines() if len(line) > 60 and ": " not in line] == []
        assert "not-tried" in done.err
