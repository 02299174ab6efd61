"""The mutation run changes what it says it changes, and finds the tests that execute it."""

from __future__ import annotations

import ast
import shutil
import sys
from pathlib import Path
from types import SimpleNamespace
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


def test_every_mutant_of_the_domain_is_python_and_differs_from_what_was_there() -> None:
    for file in sorted((ROOT / "kb/domain").glob("*.py")):
        for one in mutants.mutants_of(str(file.relative_to(ROOT)))[::9]:
            assert ast.dump(ast.parse(one.text(ROOT))) != ast.dump(ast.parse(file.read_bytes())), one


CODE = """MOST = 3


@cache
def f(a):
    if a < MOST:
        return a + 1
    return sum(
        one
        for one in range(2)
    )
"""
#: Lines of CODE, and the statement that a mutant there belongs to.
STATEMENTS = {1: None, 6: (6, 6), 7: (7, 7), 8: (8, 11), 10: (8, 11)}


@pytest.fixture
def some(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(mutants, "ROOT", tmp_path)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "some.py").write_text(CODE)
    return tmp_path / "some.py"


def test_a_mutant_belongs_to_the_innermost_statement_of_its_function(some: Path) -> None:
    found = {one.line: mutants.span_of(one) for one in mutants.mutants_of("some.py")}
    assert {line: span and (span.first, span.last) for line, span in found.items()} == STATEMENTS


def test_a_mutant_in_a_function_is_for_the_tests_that_execute_its_statement_and_one_outside_for_all(
    some: Path,
) -> None:
    reached = {
        "tests": {"some.py:7-7": ["slow", "quick"]},
        "took": {"slow": 2.0, "quick": 0.1, "other": 1.0},
    }
    tests = {one.line: mutants.tests_for(one, reached) for one in mutants.mutants_of("some.py")}
    assert tests == {1: ["quick", "other", "slow"], 6: [], 7: ["quick", "slow"], 8: [], 10: []}


def test_a_test_counts_for_the_lines_it_executes_and_not_for_the_rest_of_the_function(some: Path) -> None:
    spans = {span for one in mutants.mutants_of("some.py") if (span := mutants.span_of(one))}
    plugin = mutants.Reached(sorted(spans))
    names: dict[str, Any] = {"cache": lambda function: function}
    exec(compile(CODE, str(some), "exec"), names)  # as pytest would load it
    before = sys.gettrace()
    try:
        for value in (1, 5):
            plugin.pytest_runtest_logstart()
            names["f"](value)
            sys.settrace(before)
            plugin.pytest_runtest_logfinish(f"test_with[{value}]" if value == 1 else "test_more")
    finally:
        sys.settrace(before)
    assert plugin.tests == {
        "some.py:6-6": {"test_with", "test_more"},
        "some.py:7-7": {"test_with"},
        "some.py:8-11": {"test_more"},
    }


def test_a_test_that_was_slow_with_one_value_is_left_out_with_the_next() -> None:
    plugin = mutants.Reached([], slowest=0.5)
    plugin.took["test_some.py::test_one"] = 0.6
    plugin.pytest_runtest_setup(SimpleNamespace(nodeid="test_some.py::test_two[1]", runtest=list))
    with pytest.raises(pytest.skip.Exception, match="slow"):
        plugin.pytest_runtest_setup(SimpleNamespace(nodeid="test_some.py::test_one[2]"))


def test_what_runs_as_a_module_is_loaded_is_for_all_tests() -> None:
    plugin = mutants.Reached([])
    plugin._seen.add(mutants.Span("some.py", 6, 6))
    plugin.pytest_collection_finish()
    before = sys.gettrace()
    try:
        plugin.pytest_runtest_logstart()
    finally:
        sys.settrace(before)
    plugin.pytest_runtest_logfinish("test_one")
    assert plugin.on_loading == {mutants.Span("some.py", 6, 6)}
    assert plugin.tests == {}


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
    assert ([one.line for one in drawn], every) == ([1], 1)


def test_changes_alike_are_drawn_one_by_one_and_not_all_together(some: Path) -> None:
    (some.parent / "kb/same").mkdir(parents=True)
    (some.parent / "kb/same/some.py").write_text("FLAGS = [\n" + "    True,\n" * 40 + "]\n")
    lines = [one.line for one in mutants.drawn_of("same", 5, 1, "")[0]]
    assert max(lines) - min(lines) > 9


def test_a_failure_without_any_change_is_named_and_no_mutant_is_tried(some: Path) -> None:
    class Failing:
        def verdict(self, *asked: object) -> tuple[str, str]:
            assert asked[1] == CODE  # not changed
            return "killed", "tests/test_some.py::test_quick"

    first = mutants.mutants_of("some.py")[0]
    with pytest.raises(SystemExit, match=r"first: tests/test_some[.]py::test_quick"):
        mutants.check_without_change("some", Failing(), [first], {"tests": {}, "took": {"test_quick": 0.1}})


def test_a_piece_of_a_run_goes_on_from_the_last_but_not_after_a_change_of_the_code(some: Path) -> None:
    (some.parent / "kb").mkdir()
    code = some.rename(some.parent / "kb/some.py")
    kept = str(some.parent / "state.json")
    first = mutants.State(kept, "some 40 1")
    first.reached, first.verdicts = {"took": {}}, {"one": ["killed", "test_some"]}
    first.keep()
    assert mutants.State(kept, "some 40 1").verdicts == first.verdicts
    assert mutants.State(kept, "some 40 2").verdicts == {}
    code.write_text(CODE + "\n")
    assert mutants.State(kept, "some 40 1").reached is None


#: A change after which the function never ends.
SPINS = ("return a + 1", "while True: pass")


def test_a_changed_line_is_killed_by_the_test_that_runs_it_or_survives_and_is_put_back(
    tmp_path: Path,
) -> None:
    """The whole way, in a small project of its own."""
    for name, text in {
        "kb/some.py": CODE.replace("@cache\n", ""),
        "tests/test_some.py": "from kb.some import f\n\n\ndef test_one():\n    assert f(1) == 2\n",
    }.items():
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).write_text(text)
    (tmp_path / "kb/__init__.py").touch()
    (tmp_path / "scripts").mkdir()
    shutil.copy(ROOT / "scripts/mutants.py", tmp_path / "scripts")
    code = (tmp_path / "kb/some.py").read_text()
    copy = mutants.Copy.__new__(mutants.Copy)
    copy.root, copy._server = tmp_path, None
    try:
        answers = [
            copy.verdict("kb/some.py", code.replace(*change), ["tests/test_some.py::test_one"], (60, 1))
            for change in (("a", "a"), ("a + 1", "a - 1"), ("range(2)", "range(3)"), SPINS)
        ]
    finally:
        copy.close()
    killed = ("killed", "tests/test_some.py::test_one")
    assert answers == [("survived", ""), killed, ("survived", ""), ("too slow", "")]
    assert (tmp_path / "kb/some.py").read_text() == code
