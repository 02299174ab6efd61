"""Settings for all tests: a short default for property tests, a long mode on request; and the watch over the
files that SQLite keeps, which no test can leave out."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.compiled_once import compile_once
from tests.watched import watch

watch()
compile_once()
LONG = os.environ.get("JACKFIELD_LONG") == "1"

EXAMPLES = int(os.environ.get("JACKFIELD_EXAMPLES", "25"))  #: fewer where a recipe runs these tests in a copy
settings.register_profile(
    "short",
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("long", max_examples=2000, deadline=None)
settings.load_profile("long" if LONG else "short")

#: Files of a few long tests. They are begun first, so that no process is left alone with one at the end.
LONG_FILES = (
    "store/test_recipe_field.py",
    "team/test_torture.py",
    "test_torture.py",
    "cli/test_readme.py",
    "web/test_browser.py",
    "web/test_offline.py",
    "web/test_nothing_lost.py",
    "web/test_beside.py",
    "integration/test_disk.py",
    "store/test_old_books.py",
    "team/test_broken_connection.py",
    "exchange/test_backup.py",
    "web/test_two_servers.py",
    "exchange/test_safety.py",
    "evidence/test_renewal.py",
    "recipes/test_recipes.py",
    "exchange/test_merge_laws.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the long files first; ``--no-loadscope-reorder`` of scripts/test.py leaves them there."""
    tests = Path(__file__).parent
    rank = {tests / name: number for number, name in enumerate(LONG_FILES)}
    items.sort(key=lambda item: rank.get(item.path, len(rank)))


# Before any test: a program that is started inherits both (see tests/watch/only_sqlite.py).
_FOLDER = tempfile.TemporaryDirectory(prefix="jackfield-watch-")
REPORT = Path(_FOLDER.name) / "report"
REPORT.touch()
os.environ["JACKFIELD_TEST_REPORT"] = str(REPORT)
sys.path.insert(0, str(Path(__file__).parent / "watch"))
# Some scripts hold what tests use too: the ways of choosing of a fault search, torture's actors.
sys.path.insert(0, str(Path(__file__).parents[1] / "scripts"))
import only_sqlite  # noqa: E402

os.environ |= only_sqlite.guarded(os.environ)


@pytest.fixture(autouse=True)
def _only_sqlite_opens_its_files() -> Iterator[None]:
    before = REPORT.stat().st_size
    yield
    if wrong := complaints(before):
        pytest.fail(wrong, pytrace=False)


def complaints(since: int = 0) -> str:
    """What the watch has found, from a place in its report on."""
    return REPORT.read_bytes()[since:].decode()


@pytest.fixture
def complained(_only_sqlite_opens_its_files: None) -> Iterator[Callable[[], str]]:
    """For tests of the watch itself: what it has found since the test began; taken back at the end."""
    before = REPORT.stat().st_size
    yield lambda: complaints(before)
    os.truncate(REPORT, before)
