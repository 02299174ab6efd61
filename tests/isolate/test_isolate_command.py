"""Does the command ask, answer, keep and resume as somebody behind a set needs it?"""

from __future__ import annotations

import io
import json
import shlex
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from isolate_trial import path_used
from rich.console import Console

from kb.base.errors import BadInput, BookTrouble
from kb.book.faults import load_model
from kb.cli.isolate import isolate_command
from kb.cli.isolate_dialog import talk
from kb.cli.isolate_show import document_of, list_of, show_state
from kb.domain.language import ENGLISH, Language
from kb.isolate import State, start, state_from, state_to

MODEL = load_model()
BEGUN = start(MODEL, "no-sound", path_used("optical", ("optical cable 2 m",), "optical"))


@pytest.fixture(autouse=True)
def no_book(tmp_path, monkeypatch):
    """Nobody's own book comes into these tests."""
    monkeypatch.setenv("JACKFIELD_HOME", str(tmp_path / "none"))


def call(*args: str, stdin: str | None = None) -> Result:
    result = CliRunner().invoke(isolate_command, args, input=stdin)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def answers_file(folder: Path, **changes: object) -> Path:
    file = folder / "answers.json"
    file.write_text(json.dumps({"complaint": "no-sound", "answers": {"driver-lights": "power"}, **changes}))
    return file


def test_json_has_the_keys_that_programs_know(tmp_path):
    result = call("--answers", str(answers_file(tmp_path, path={"signal": "optical"})), "--json")
    said = json.loads(result.stdout)
    assert {"likely", "next", "done"} <= set(said)
    assert set(said["likely"][0]) == {"fault", "p"}
    assert {"test", "minutes", "why"} <= set(said["next"])
    assert said["done"] is False
    assert sum(one["p"] for one in said["likely"]) == pytest.approx(1)


def test_asked_to_ask_it_takes_answers_from_a_pipe_and_keeps_them(tmp_path):
    file = tmp_path / "today.json"
    words = ("--complaint", "no-sound", "--signal", "optical", "--answers", str(file), "--ask")
    done = call(*words, stdin="power\nnonsense\nu\nplain\ng cap-on-plug\n")
    assert done.exit_code == 0
    assert "'nonsense' is no answer here" in done.stdout
    assert "Good now. It was: a cap is still on a tip of the optical cable." in done.stdout
    kept = json.loads(file.read_text())
    assert (kept["answers"], kept["fixed"]) == ({"driver-lights": "plain"}, "cap-on-plug")


def test_asking_and_one_document_do_not_go_together():
    with pytest.raises(BadInput, match="--ask and --json do not go together; give only one of them"):
        call("--complaint", "hum", "--ask", "--json")


@pytest.mark.parametrize(("piped", "told"), [("power\n", True), (None, False)])
def test_answers_that_nobody_asked_to_read_are_not_passed_over_without_a_word(piped, told):
    words = [sys.executable, "-m", "kb.cli.main", "isolate", "--complaint", "hum"]
    given = {"input": piped} if piped else {"stdin": subprocess.DEVNULL}
    done = subprocess.run(words, capture_output=True, encoding="utf-8", **given)
    assert done.returncode == 0
    assert ("nothing was read from the pipe: --ask takes answers from it" in done.stderr) is told


def test_json_says_done_and_no_next_test_once_a_fault_stands_out():
    said = json.loads(
        call("--complaint", "no-sound", "--signal", "optical", "--answer", "plugs=cap", "--json").stdout
    )
    assert (said["likely"][0]["fault"], said["next"], said["done"]) == ("cap-on-plug", None, True)
    assert "Pull the clear caps off" in said["finding"]["note"]


def test_answers_can_come_from_stdin():
    said = json.loads(call("--answers", "-", "--json", stdin='{"complaint": "hum", "answers": {}}').stdout)
    assert said["complaint"] == "hum"


def test_reading_an_answers_file_never_writes_it(tmp_path):
    file = answers_file(tmp_path)
    before = file.read_bytes()
    call("--answers", str(file), "--json")
    assert file.read_bytes() == before


def test_an_answer_given_as_option_is_kept_in_the_file(tmp_path):
    file = tmp_path / "new.json"
    call(
        "--complaint",
        "hum",
        "--answers",
        str(file),
        "--answer",
        "driver-off=good",
        "--without",
        "player,ohmmeter",
    )
    kept = json.loads(file.read_text())
    assert kept == {"complaint": "hum", "answers": {"driver-off": "good"}, "without": ["player", "ohmmeter"]}
    assert [one.name for one in tmp_path.iterdir()] == ["new.json"]  # nothing half-written lies about


def test_a_file_that_cannot_be_written_stays_as_it_was(tmp_path):
    file = answers_file(tmp_path)
    before = file.read_bytes()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left")))
        with pytest.raises(BookTrouble, match="could not be written"):
            call("--answers", str(file), "--answer", "plugs=cap")
    assert file.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["answers.json"]


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(BadInput, match=r"--answers: saw .*expected a file in a folder that exists"):
        call(
            "--complaint",
            "hum",
            "--answers",
            str(tmp_path / "gone" / "a.json"),
            "--answer",
            "driver-off=good",
        )


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"{", "line 1"),
        (b'"hum"', "expected an object"),
        (b"\xff\xfe", "not UTF-8"),
        (b"[" * 100_000, "deeply nested"),
        (b" " * 1_048_577, "more than 1 MiB"),
        (b'{"complaint": "hum", "answers": ' + b"1" * 5000 + b"}", "digits"),
        (b'{"complaint": "hum", "complaint": "weak", "answers": {}}', "twice"),
        (b'{"complaint": "hum", "answers": {"driver-of": "good"}}', "expected driver-off"),
    ],
)
def test_a_bad_answers_file_is_named_with_what_is_wrong(tmp_path, content, message):
    file = tmp_path / "bad.json"
    file.write_bytes(content)
    with pytest.raises(BadInput, match=message):
        call("--answers", str(file), "--json")


@pytest.mark.parametrize(
    ("args", "message"),
    [
        ((), "--complaint: missing, expected one of no-sound"),
        (("--complaint", "no-sond"), "expected no-sound"),
        (
            ("--complaint", "hum", "--answer", "driver-off"),
            "--answer: saw 'driver-off', expected TEST=ANSWER",
        ),
        (("--complaint", "hum", "--signal", "steam"), "signal: saw 'steam'"),
        (("--complaint", "hum", "--without", "hammer"), "without: saw 'hammer'"),
        (("--complaint", "hum", "--mended", "cap-on-plug"), "mended: saw 'cap-on-plug'"),
        (("--answers", "not-there.json"), "not-there.json"),
    ],
)
def test_a_wrong_option_is_named_with_what_was_expected(args, message):
    with pytest.raises(BadInput, match=message):
        call(*args)


def test_the_list_names_every_fault_and_test():
    said = json.loads(call("--list", "--json").stdout)
    assert said == list_of(MODEL, ENGLISH)
    plain = call("--list").stdout
    for name in (*MODEL.faults, *MODEL.tests, *MODEL.tools, *MODEL.complaints):
        assert name in plain


def test_piped_output_is_plain_and_fits_80_columns():
    for args in (("--list",), ("--complaint", "weak"), ("--complaint", "no-sound", "--signal", "arc")):
        out = call(*args).stdout
        assert "\x1b" not in out
        assert max(len(line) for line in out.splitlines()) <= 80


def test_what_somebody_typed_is_shown_as_text_and_never_as_markup():
    out = call("--complaint", "hum", "--signal", "optical", "--items", "[red]cable[/red] [link=x]DAC").stdout
    assert "[red]cable[/red] [link=x]DAC" in " ".join(out.split())
    with pytest.raises(BadInput, match="without control characters"):
        call("--complaint", "hum", "--items", "cable \x1b[31m")


def test_a_caution_is_shown_with_the_remedy_that_needs_it():
    out = call(
        "--complaint", "speakers-dead", "--signal", "headphone", "--answer", "plug-in-and-out=good"
    ).stdout
    assert "plug" in out
    done = call("--complaint", "hum", "--signal", "analog-line", "--answer", "input-out=good",
                "--answer", "transformer-in=good").stdout  # fmt: skip
    assert "Never lift a protective earth" in " ".join(done.split())


# -- the talk at a terminal --------------------------------------------------------------------------


def talked(*typed: str, begun: State = BEGUN, said: Language = ENGLISH) -> tuple[State, list[State], str]:
    """The state at the end, all that was kept, and what was shown."""
    lines, kept, out = list(typed), [], io.StringIO()
    console = Console(file=out, width=80)
    state = talk(begun, console, lambda _: lines.pop(0) if lines else None, kept.append, said)
    return state, kept, out.getvalue()


def went_on(done: Result) -> list[str]:
    """The words of the line that goes on."""
    (line,) = [line for line in done.stderr.splitlines() if line.startswith("To go on later: ")]
    return shlex.split(line)[6:]


def test_who_leaves_before_the_end_gets_the_line_that_goes_on_from_there(tmp_path):
    words = (
        "--complaint",
        "no-sound",
        "--signal",
        "optical",
        "--items",
        "optical cable 2 m",
        "--input",
        "optical",
    )
    left = call(*words, "--ask", stdin="power\ns\nm 2\nq\n")
    file = tmp_path / "today.json"
    kept = call(*words, "--ask", "--answers", str(file), stdin="power\ns\nm 2\nq\n")
    assert went_on(kept) == ["--answers", str(file)]
    assert json.loads(call(*went_on(left), "--json").stdout) == json.loads(
        call(*went_on(kept), "--json").stdout
    )


def test_who_interrupts_the_search_records_nothing_and_can_go_on(monkeypatch):
    typed = iter(["power"])

    def line(_prompt: str) -> str:
        for one in typed:
            return one
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", line)
    words = ("Norwell", "NV40-210", "--complaint", "no-sound", "--signal", "optical", "--ask", "--record")
    done = call(*words)
    assert done.exit_code == 1  # aborted: the program makes 130 of it
    assert "recorded" not in done.stderr
    assert went_on(done)[-3:] == ["--answer", "driver-lights=power", "--record"]


def test_who_interrupts_the_first_question_is_not_asked_the_next_one(monkeypatch):
    asked = []

    def line(prompt: str) -> str:
        asked.append(prompt)
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", line)
    done = call("--ask")
    assert done.exit_code == 1
    assert len(asked) == 1
    assert "--complaint" not in done.stderr  # nobody forgot an option


def test_a_slip_in_the_first_questions_is_asked_again():
    done = call("--ask", stdin="slient\n1\nlight\noptical\nq\n")
    assert done.exit_code == 0, done.stderr
    assert "saw 'slient'" in done.stderr
    assert "saw 'light'" in done.stderr
    assert went_on(done) == ["--complaint", "no-sound", "--signal", "optical"]


def test_each_answer_is_kept_before_the_next_test_is_asked():
    state, kept, out = talked("power", "1", "q")
    assert [dict(one.answers) for one in kept] == [dict(state.answers[:1]), dict(state.answers)]
    assert "Next:" in out


def test_the_keys_are_words_of_the_language_as_well():
    english = talked("s", "w", "u", "power", "mended 1", "q")
    spoken = talked("saltar", "porqué", "d", "power", "sigue 1", "salir", said=Language("es"))
    assert spoken[1] == english[1]
    assert "sigue 2" in spoken[2]


def test_an_answer_can_be_given_by_its_number():
    found = BEGUN.next_test
    assert found is not None
    state, _, _ = talked("1")
    assert state.answers == ((found.test.id, next(iter(found.test.answers))),)


def test_undo_takes_back_answers_skips_and_mending():
    assert talked("power", "u")[0] == BEGUN
    assert talked("s", "u")[0] == BEGUN
    assert talked("m 1", "u")[0] == BEGUN
    assert talked("u")[0] == BEGUN
    assert talked("u", begun=BEGUN.answer("plugs", "home"))[0] == BEGUN  # resumed


def test_a_skipped_test_is_not_offered_again():
    found = BEGUN.next_test
    assert found is not None
    state, _, _ = talked("s")
    assert state.next_test is not None
    assert state.next_test.test.id != found.test.id


def test_mended_but_still_so_looks_for_the_next_fault():
    state, _, _ = talked("m", begun=BEGUN.answer("plugs", "cap"))
    assert state.mended_faults == ("cap-on-plug",)
    assert "cap-on-plug" not in state.odds
    assert not state.done


def test_what_is_not_understood_changes_nothing_and_says_what_was_expected():
    state, kept, out = talked("\x1b[31mhm", "99", "²", "q")
    assert (state, kept) == (BEGUN, [])
    assert "\x1b[31mhm" not in out
    assert "one of dark, protect, power, signal" in out
    assert out.count("Next:") == 1  # the screen is not filled again


def test_a_tool_that_is_not_to_hand_is_not_asked_for_again():
    begun = BEGUN.excluding("driver-lights").answer("plugs", "home")
    while (found := begun.next_test) is not None and not found.test.tools:
        begun = begun.excluding(found.test.id)
    assert found is not None
    state, _, out = talked("n", begun=begun)
    assert "n no tool" in out
    assert set(found.test.tools) <= set(state.without)


def test_good_now_ends_the_talk_and_is_kept():
    state, kept, out = talked("g", begun=BEGUN.answer("red-glow", "cap"))
    assert (state.fixed, kept[-1].fixed) == ("cap-on-plug", "cap-on-plug")
    assert "Good now. It was: a cap is still on a tip" in " ".join(out.split())


def test_another_fault_than_the_likeliest_can_be_named_as_mended_or_as_the_one():
    assert talked("m bad-cable")[0].mended_faults == ("bad-cable",)
    assert talked("g  BAD-cable")[0].fixed == "bad-cable"
    state, kept, out = talked("g ghost", "q")
    assert (state, kept) == (BEGUN, [])
    assert "type a fault of this complaint: one of " in " ".join(out.split())


def test_where_nothing_stands_out_it_is_asked_what_was_mended():
    for key in ("g", "m"):
        state, kept, out = talked(key, "q")
        assert (state, kept) == (BEGUN, [])
        assert "the number of the fault, such as good 2" in " ".join(out.split())
    assert talked("g 2")[0].fixed == BEGUN.likely[1][0]
    assert talked("m 1")[0].mended_faults == (BEGUN.likely[0][0],)


def test_the_talk_begins_with_what_it_never_asks_for():
    assert "No test here opens a set" in talked("q")[2]


def test_the_end_of_input_is_a_quit():
    assert talked()[0] == BEGUN


def test_done_shows_the_remedy():
    _, _, out = talked("q", begun=BEGUN.answer("plugs", "cap"))
    assert "Remedy: Pull the clear caps off" in " ".join(out.split())


def test_a_talk_can_be_resumed_from_what_was_kept():
    state, kept, _ = talked("power", "s", "q")
    assert state_from(MODEL, json.loads(json.dumps(state_to(kept[-1])))) == state


def test_a_terminal_without_block_signs_gets_a_plain_bar():
    raw = io.BytesIO()
    console = Console(file=io.TextIOWrapper(raw, encoding="ascii"), width=80)
    show_state(console, BEGUN, ENGLISH)
    console.file.flush()
    assert b"#" in raw.getvalue()


def test_the_document_survives_json_as_it_is():
    said = document_of(BEGUN, ENGLISH)
    assert json.loads(json.dumps(said)) == said


def test_the_kept_file_is_for_its_owner_only(tmp_path):
    # what was done in a home is private to this machine
    file = tmp_path / "a.json"
    call("--complaint", "hum", "--answers", str(file), "--answer", "driver-off=good")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
