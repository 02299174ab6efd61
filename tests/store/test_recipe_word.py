"""A new word comes into the vocabulary by the recipe "Add a word" of DEVELOPERS.md, done here in a copy."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from kb.domain.words import Colour
from kb.store import Store
from kb.store.sqlite_codes import FORMATS
from tests.store.helpers import visit

ROOT = Path(__file__).resolve().parents[2]
NEXT = f"{int(FORMATS[-1]) + 1:04}"
STEP = f'''"""Let a jack have a gold ring."""

from kb.store.migrations.steps import allow_words

revision = "{NEXT}"
down_revision = "{FORMATS[-1]}"
branch_labels = None
depends_on = None


def upgrade() -> None:
    allow_words("finding", "colour", "{" ".join(Colour)} gold")
'''
#: What the recipe says must pass at its end, of all tests the few that look at words and at the schema.
CHECKS = (
    "tests/store/test_upgrade.py::test_a_fresh_book_and_one_made_by_the_migrations_are_the_same",
    "tests/store/test_upgrade.py::test_the_formats_are_the_migrations_that_are_shipped",
    "tests/sheet/test_languages.py::test_every_word_has_a_name",
)
SECONDS = 300  #: for one program, so that one that hangs is told


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the project in which nothing is changed yet."""
    for name in ("kb", "data", "tests"):
        shutil.copytree(ROOT / name, tmp_path / "copy" / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path / "copy")
    return tmp_path / "copy"


def edit(path: Path, old: str, new: str) -> None:
    """Put ``new`` after the one place where ``old`` matches."""
    text, found = re.subn(f"({old})", lambda match: match[1] + new, path.read_text("utf-8"), flags=re.M)
    assert found == 1, path
    path.write_text(text, "utf-8")


def run(copy: Path, *command: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(copy), "JACKFIELD_EXAMPLES": "12", "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, *command], cwd=copy, env=env, capture_output=True, text=True, timeout=SECONDS
    )


def test_a_word_added_by_the_recipe_can_be_recorded_in_an_old_book(copy: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir(mode=0o700)
    with Store.open(home / "book.sqlite") as store:
        store.record([visit()])

    edit(copy / "kb/domain/words.py", r'^    PINK = "pink"\n', '    GOLD = "gold"\n')
    versions = copy / "kb/store/migrations/versions"
    (versions / f"{NEXT}_gold.py").write_text(STEP, "utf-8")
    edit(copy / "kb/store/sqlite_codes.py", rf'^FORMATS: Final = .*"{FORMATS[-1]}"', f', "{NEXT}"')
    edit(copy / "data/messages/es.json", r'^ "word/colour/red": .*\n', ' "word/colour/gold": "dorado",\n')

    gold = {"form": "jack-3.5", "marking": "AUDIO OUT", "colour": "gold", "outcome": "carried"}
    source = {"make": "Norwell", "model": "NV40-210"}
    said = tmp_path / "visit.json"
    said.write_text(json.dumps({"date": "2026-03-05", "source": source, "jacks": [gold]}), "utf-8")

    def jackfield(*words: str) -> str:
        code = "import sys; from kb.cli.main import main; main()"
        done = run(copy, "-c", code, "--home", str(home), *words)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    jackfield("record", "--file", str(said))
    panel = json.loads(jackfield("show", "Norwell", "NV40-210", "--json"))["panel"]
    assert "gold" in {jack["colour"] for jack in panel}
    assert "red" in {jack["colour"] for jack in panel}, "what the old book held is there as before"
    jackfield("doctor")  # compares every table with that of a fresh book
    done = run(copy, "-m", "pytest", "-q", "-p", "no:cacheprovider", *CHECKS)
    assert done.returncode == 0, done.stdout[-3000:]
