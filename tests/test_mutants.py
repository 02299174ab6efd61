"""The mutation run changes what it says it changes, and finds the tests that execute it."""

from __future__ import annotations

import ast
import math
import shutil
import sys
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "scripts"))

import mutants  # noqa: E402


@pytest.mark.parametrize(
    ("code", "changed"),
    [
        ("x = a < 3", {"x = (a <= 3)", "x = a < (4)"}),
        ("x = a and not b", {"x = (a or not b)", "x = a and (b)"}),
        ("x = -1.0", {"x = (1.0)", "x = -(1.5)"}),
        ("if a:\n    b.sort()", {"if (not (a)):\n    b.sort()", "if a:\n    pass"}),
        ("def f():\n    return a", {"def f():\n    return None"}),
        ("def f():\n    return False", {"def f():\n    return (True)"}),
        ("def f() -> 3:\n    'doc 3'\n    raise E(3)", set()),
        ("x = f'{a + 1}'", set()),
        ("x = zip(a, b, strict=True)", set()),
    ],
)
def test_each_place_of_the_code_is_changed_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: str, changed: set[str]
) -> None:
    monkeypatch.setattr(mutants, "ROOT", tmp_path)
    (tmp_path / "some.py").write_text(code)
    found = mutants.mutants_of("some.py")
    assert {one.text(tmp_path) for one in found} == changed
    assert len(found) == len(changed)


def test_mutants_of_the_domain_are_python_and_differ_from_what_was_there() -> None:
    for file in sorted((ROOT / "kb/domain").glob("*.py")):
        before = ast.dump(ast.parse(file.read_bytes()))
        for one in mutants.mutants_of(str(file.relative_to(ROOT)))[::27]:
            assert ast.dump(ast.parse(one.text(ROOT))) != before, one


CODE = """MOST = 3


@cache
def f(a, b=2):
    if a < MOST:
        return a + 1
    return sum(
        one
        for one in range(2)
    )
"""
#: Lines of CODE, and the line of the statement of a function that a mutant there belongs to.
STATEMENTS = {1: None, 5: None, 6: 6, 7: 7, 8: 8, 10: 8}


@pytest.fixture
def some(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(mutants, "ROOT", tmp_path)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "some.py").write_text(CODE)
    return tmp_path / "some.py"


def test_a_mutant_belongs_to_the_innermost_statement_of_its_function(some: Path) -> None:
    found = {
        one.line: int(one.statement.split(":")[1]) if one.statement else None
        for one in mutants.mutants_of("some.py")
    }
    assert found == STATEMENTS


def test_a_probe_tells_each_statement_of_a_function_that_is_executed_and_no_other(some: Path) -> None:
    text, places = mutants.probed("some.py")
    assert places == ["some.py:7:8", "some.py:8:4", "some.py:6:4"]
    executed: set[str] = set()
    names: dict[str, Any] = {"cache": lambda function: function, "_executed": executed}
    exec(compile(text, str(some), "exec"), names)
    assert (names["f"](1), executed) == (2, {"some.py:6:4", "some.py:7:8"})
    executed.clear()
    assert (names["f"](5), executed) == (1, {"some.py:6:4", "some.py:8:4"})


@pytest.fixture
def trace() -> mutants.Trace:
    found = mutants.Trace("some", 1.0)
    found.took = {"slow": 2.0, "quick": 0.1, "other": 1.0}
    found.tests = {"some.py:6:4": ["slow"], "some.py:7:8": ["slow", "quick"], "some.py:8:4": []}
    return found


def test_a_mutant_in_a_function_is_for_the_tests_that_execute_its_statement_and_one_outside_for_all(
    some: Path, trace: mutants.Trace
) -> None:
    every = mutants.mutants_of("some.py")
    tests = {one.line: mutants.tests_for(one, trace, Counter(), math.inf) for one in every}
    all_tests = ["quick", "slow", "other"]  # "other" executes nothing of the file
    assert tests == {1: all_tests, 5: all_tests, 6: ["slow"], 7: ["quick", "slow"], 8: [], 10: []}
    kills = Counter({"slow": 40})
    assert mutants.tests_for(next(one for one in every if one.line == 7), trace, kills, 9.0) == [
        "slow",
        "quick",
    ]
    two = next(one for one in every if one.line == 7)
    assert mutants.tests_for(two, trace, Counter(), 2.1) == ["quick", "slow"]
    assert mutants.tests_for(two, trace, Counter(), 2.0) == ["quick"]
    assert mutants.tests_for(two, trace, Counter(), 0.0) == ["quick"], "one test at least"
    trace.on_loading = ["some.py:8:4"]
    assert mutants.tests_for(every[-1], trace, Counter(), math.inf) == all_tests


def test_a_change_is_known_by_its_line_so_that_only_that_one_is_listed_as_equal(
    some: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (some.parent / "kb/same").mkdir(parents=True)
    (some.parent / "kb/same/some.py").write_text("a = 1\nb = 1\n")
    (some.parent / "equal.toml").write_text(
        '[[equal]]\nfile = "kb/same/some.py"\nline = "b = 1"\nold = "1"\nnew = "(2)"\nwhy = "unused"\n'
    )
    monkeypatch.setattr(mutants, "EQUAL", some.parent / "equal.toml")
    drawn, every = mutants.drawn_of("same", 9, 1, "")
    assert ([one.line for one in drawn.values()], every) == ([1], 1)


def test_changes_alike_are_drawn_one_by_one_and_not_all_together(some: Path) -> None:
    (some.parent / "kb/same").mkdir(parents=True)
    (some.parent / "kb/same/some.py").write_text("FLAGS = [\n" + "    True,\n" * 40 + "]\n")
    lines = [one.line for one in mutants.drawn_of("same", 5, 1, "")[0].values()]
    assert len(lines) == 5
    assert max(lines) - min(lines) > 9


class Answering(mutants.Served):
    """Stands for the process that runs the tests; gives the prepared answers in turn."""

    def __init__(self, *answers: tuple[str, str, float]) -> None:
        self.answers = list(answers)
        self.asked: list[tuple[Any, ...]] = []

    def verdict(self, *asked: Any) -> tuple[str, str, float]:
        self.asked.append(asked)
        return self.answers.pop(0)


def test_a_test_that_fails_without_any_change_is_left_out_for_every_statement(trace: mutants.Trace) -> None:
    server = Answering(("killed", "quick", 0.0), ("survived", "", 3.0))
    trace.leave_out_what_fails(server)
    assert trace.left_out == {"quick": "fails after others, without a change"}
    assert [asked[2] for asked in server.asked] == [["quick", "other", "slow"], ["other", "slow"]]
    assert trace.tests["some.py:7:8"] == ["slow"]
    with pytest.raises(SystemExit, match="do not pass without a change: stuck"):
        trace.leave_out_what_fails(Answering(("stuck", "", 0.0)))


def test_a_mutant_whose_tests_the_clock_stopped_is_tried_once_more_with_more_time(
    some: Path, trace: mutants.Trace
) -> None:
    copy = mutants.Copy.__new__(mutants.Copy)
    copy.root = some.parent
    last = mutants.mutants_of("some.py")[-1]
    server = Answering(("stuck", "", 0.0), ("survived", "", 0.0))
    assert mutants.verdict_of(last, copy, server, trace, Counter(), math.inf) == ("survived", "")
    assert server.asked[1][3][0] == 5 * server.asked[0][3][0]
    server = Answering(("stuck", "", 0.0), ("stuck", "", 0.0))
    assert mutants.verdict_of(last, copy, server, trace, Counter(), math.inf) == ("stuck", "")


def test_a_piece_of_a_run_goes_on_from_the_last_but_not_after_a_change_of_the_code(some: Path) -> None:
    for folder in ("kb/some", "data", "tests"):
        (some.parent / folder).mkdir(parents=True)
    code = some.rename(some.parent / "kb/some/one.py")
    kept = str(some.parent / "state.json")
    first = mutants.State(kept, "some", 1.0)
    first.trace.took = {"tests/test_one.py::test_some": 0.5, "tests/test_two.py::test_some": 0.1}
    first.trace.tests = {"kb/some/one.py:7:8": list(first.trace.took)}
    first.verdicts = {"one": ["killed", "test_some"], "two": ["survived", ""]}
    first.keep()
    assert mutants.State(kept, "some", 1.0).verdicts == first.verdicts
    assert mutants.State(kept, "some", 1.0).trace.took == first.trace.took
    assert mutants.State(kept, "some", 2.0).verdicts == {}
    less = mutants.State(kept, "some", 1.0, budget=9.0)
    assert (less.verdicts, less.trace.took) == ({}, first.trace.took)
    (some.parent / "tests/test_one.py").write_text("# a new test\n")
    trace = mutants.State(kept, "some", 1.0).trace
    assert list(trace.took) == trace.tests["kb/some/one.py:7:8"] == ["tests/test_two.py::test_some"]
    (some.parent / "kb/other.py").touch()
    assert mutants.State(kept, "some", 1.0).trace.took == trace.took
    code.write_text(CODE + "\n")
    assert mutants.State(kept, "some", 1.0).trace.took == {}
    assert mutants.State(kept, "some", 1.0).verdicts == {}
    assert list(mutants.State(kept, "some", 1.0, again=True).verdicts) == ["one"]


#: A change after which the function never ends.
SPINS = ("return a + 1", "while True: pass")


def test_a_changed_line_is_killed_by_the_test_that_runs_it_or_survives_and_is_put_back(
    tmp_path: Path,
) -> None:
    """The whole way, in a small project of its own."""
    for name, text in {
        "kb/some/one.py": CODE.replace("@cache\n", ""),
        "tests/some/test_one.py": "from kb.some.one import f\n\n\ndef test_one():\n    assert f(1) == 2\n",
        "kb/__init__.py": "",
        "kb/some/__init__.py": "",
    }.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    (tmp_path / "scripts").mkdir()
    shutil.copy(ROOT / "scripts/mutants.py", tmp_path / "scripts")
    file = tmp_path / "kb/some/one.py"
    code = file.read_text()
    copy = mutants.Copy.__new__(mutants.Copy)
    copy.root = tmp_path
    tests = ["tests/some/test_one.py::test_one"]
    with closing(copy.serving("some")) as server:
        assert server.tests == tests
        answers = [
            server.verdict("kb/some/one.py", code.replace(*change), tests, (60, 1))[:2]
            for change in (("a", "a"), ("a + 1", "a - 1"), ("range(2)", "range(3)"), SPINS)
        ]
        untested = server.verdict("kb/some/one.py", code.replace("a + 1", "a - 1"), [], (60, 1))[:2]
    assert untested == ("survived", ""), "no test executes it"
    killed = ("killed", tests[0])
    assert answers == [("survived", ""), killed, ("survived", ""), ("too slow", "")]
    with (
        copy.changed("kb/some/one.py", code.replace("MOST = 3", "MOST = 0")),
        closing(copy.serving("some")) as server,
    ):
        assert server.verdict("", "", tests, (60, 1))[:2] == killed
    assert file.read_text() == code
