"""Arrows of import point down only, and the lower floors know no storage, search or terminal."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

KB = Path(__file__).resolve().parent.parent / "kb"

FLOORS = {
    "kb.errors": 0,
    "kb.clock": 0,
    "kb.text": 0,
    "kb.fields": 0,
    "kb.parsing": 0,
    "kb.words": 0,
    "kb.marking": 0,
    "kb.panel": 0,
    "kb.visit": 0,
    "kb.shortform": 0,
    "kb.catalogue": 1,
    "kb.path": 2,
    "kb.evidence": 2,
    "kb.pack": 2,
    "kb.isolate": 2,
    "kb.loop": 2,
    "kb.settings": 3,
    "kb.given": 3,
    "kb.whole": 3,
    "kb.store": 3,
    "kb.index": 3,
    "kb.exchange": 3,
    "kb.sheet": 3,
    "kb.book": 4,
    "kb.cli": 5,
    "kb.web": 5,
}
FOREIGN = {"sqlalchemy", "alembic", "whoosh", "click", "rich", "platformdirs", "sqlite3"}
MODULES = sorted(path for path in KB.rglob("*.py") if path != KB / "__init__.py")


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(KB.parent).with_suffix("").parts).removesuffix(".__init__")


def room_of(module: str) -> str:
    return ".".join(module.split(".")[:2])


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            if node.module == "kb":
                yield from (f"kb.{alias.name}" for alias in node.names)
            else:
                yield node.module or ""


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_arrows_of_import_point_down(path: Path) -> None:
    here = room_of(name_of(path))
    for module in imports(path):
        if module.startswith("kb.") and module != "kb.__version__":
            there = room_of(module)
            assert there == here or FLOORS[there] <= FLOORS[here], f"{here} imports {module}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_rules_and_numbers_know_no_storage_search_or_terminal(path: Path) -> None:
    if FLOORS[room_of(name_of(path))] <= 2:
        assert not {module.split(".")[0] for module in imports(path)} & FOREIGN


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_says_first_what_question_it_answers(path: Path) -> None:
    said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    assert said, f"{path.name} has no docstring"
    assert "?" in said.partition("\n\n")[0], f"{path.name} asks nothing"


def test_index_and_store_do_not_know_each_other() -> None:
    for path in MODULES:
        room = room_of(name_of(path))
        wrong = {"kb.index": "kb.store", "kb.store": "kb.index"}.get(room)
        assert not wrong or not any(room_of(module) == wrong for module in imports(path))
