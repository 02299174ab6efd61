"""A new word comes into the vocabulary by the recipe "Add a word" of DEVELOPERS.md, done here in a copy."""

from __future__ import annotations

import json
from pathlib import Path

from kb.domain.words import Colour
from kb.store import Store
from kb.store.sqlite_codes import FORMATS
from tests.recipes.copies import Copy
from tests.store.helpers import visit

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


def test_a_word_added_by_the_recipe_can_be_recorded_in_an_old_book(tmp_path: Path) -> None:
    copy = Copy.made(tmp_path)
    with Store.open(copy.home / "book.sqlite") as store:
        store.record([visit()])

    copy.edit("kb/domain/words.py", r'^    PINK = "pink"\n', '    GOLD = "gold"\n')
    (copy.root / f"kb/store/migrations/versions/{NEXT}_gold.py").write_text(STEP, "utf-8")
    copy.edit("kb/store/sqlite_codes.py", rf'^FORMATS: Final = .*"{FORMATS[-1]}"', f', "{NEXT}"')
    copy.edit("data/messages/es/word.json", r'^ "word/colour/red": .*\n', ' "word/colour/gold": "dorado",\n')

    gold = {"form": "jack-3.5", "marking": "AUDIO OUT", "colour": "gold", "outcome": "carried"}
    source = {"make": "Norwell", "model": "NV40-210"}
    said = tmp_path / "visit.json"
    said.write_text(json.dumps({"date": "2026-03-05", "source": source, "jacks": [gold]}), "utf-8")
    copy.jackfield("record", "--file", str(said))
    panel = copy.json("show", "Norwell", "NV40-210")["panel"]
    assert "gold" in {jack["colour"] for jack in panel}
    assert "red" in {jack["colour"] for jack in panel}, "what the old book held is there as before"
    copy.jackfield("doctor")  # compares every table with that of a fresh book
    copy.passes(*CHECKS)
