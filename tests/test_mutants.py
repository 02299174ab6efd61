"""The mutation run changes what it says it changes, and finds the tests that call it."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

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


def test_a_mutant_in_a_function_is_for_the_tests_that_call_it_and_one_outside_for_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mutants, "ROOT", tmp_path)
    (tmp_path / "some.py").write_text("MOST = 3\n\n\n@cache\ndef f(a):\n    return a < MOST\n")
    reached = {
        "functions": {"some.py:4": ["slow", "quick"]},
        "took": {"slow": 2.0, "quick": 0.1, "other": 1.0},
    }
    outside, *inside = mutants.mutants_of("some.py")
    assert mutants.tests_for(outside, reached) == ["quick", "other", "slow"]
    assert [mutants.tests_for(one, reached) for one in inside] == [["quick", "slow"]] * 2
