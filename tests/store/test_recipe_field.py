"""A new field of a visit comes by the recipe "Add a field" of DEVELOPERS.md, done here in a copy.

Only the declarations and a migration are written; all else must follow.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from kb.store import Store
from kb.store.sqlite_codes import FORMATS
from tests.recipes.copies import Copy
from tests.store.conftest import new_place
from tests.store.helpers import visit

NEXT = f"{int(FORMATS[-1]) + 1:04}"
VISIT_FIELD = """
    room: str = field(
        default="", kw_only=True, metadata=declared(Line(), "the room of the set", private=True)
    )
"""
SOURCE_FIELD = """
    stand: Direction | None = field(
        default=None, metadata=declared(OneOf(Direction), "a word of the source")
    )
"""
FINDING_FIELDS = """
    height_cm: int | None = field(
        default=None, metadata=declared(Whole(1, 300, "a height from 1 to 300 cm"), "height above the floor")
    )
    whisper: str = field(
        default="", metadata=declared(Note(), "free text that nobody else reads", private=True)
    )
"""
LIST_FIELD = """
    tags: tuple[str, ...] = field(
        default=(), metadata=declared(ListOf(Name(), 8), "words to look for")
    )
"""
STEP = f'''"""Let a visit say the room, and a finding how high the jack is."""

from kb.store.migrations.steps import add_column, change_rule

revision = "{NEXT}"
down_revision = "{FORMATS[-1]}"
branch_labels = None
depends_on = None


def text(name, most):
    rules = {{name: f"length({{name}}) BETWEEN 0 AND {{most}}"}}
    return {{"rules": rules, "sqlite_rules": {{f"{{name}}_text": f"typeof({{name}}) = 'text'"}}}}


def upgrade() -> None:
    add_column("visit", "stand", "TEXT", {{"stand": "stand IN ('output', 'input', 'unclear')"}})
    add_column("visit_private", "room", "TEXT NOT NULL", **text("room", 80), default="''")
    whole = "height_cm BETWEEN 1 AND 300 AND height_cm = CAST(height_cm AS INTEGER)"
    add_column("finding", "height_cm", "INTEGER", {{"height_cm": whole}})
    change_rule("finding_private", "note", "length(note) BETWEEN 0 AND 4000")
    add_column("finding_private", "whisper", "TEXT NOT NULL", **text("whisper", 4000), default="''")
'''
#: Ways out of a book and into another, by file, form and reader; the fields must come along.
_OUT = "tests/exchange/test_every_field.py::test_a_visit_comes_out_of_the_other_book_with_every_field"
WAYS = (
    f"{_OUT}[dump as JSON Lines]",
    f"{_OUT}[dump as CSV]",
    "tests/store/test_quick.py::test_it_says_what_the_store_says",
)
MORE_WAYS = (
    f"{_OUT}[bundle]",
    "tests/exchange/test_every_field.py::test_a_teams_server_keeps_every_field",
    "tests/web/test_every_field.py",
)
SCHEMA = (
    "tests/store/test_upgrade.py::test_a_fresh_book_and_one_made_by_the_migrations_are_the_same",
    "tests/store/test_upgrade.py::test_a_fresh_team_book_and_one_made_by_the_migrations_are_the_same",
    "tests/store/test_upgrade.py::test_the_formats_are_the_migrations_that_are_shipped",
)
LOOK = """
import sys
from pathlib import Path
from kb.store import Store
from tests.present import Present
with Store.open(sys.argv[1]) as store:
    for one in (visit for some in Present(store).visits() for visit in some):
        print(one.note, one.findings[0].note, repr(one.room), one.findings[0].height_cm)
"""


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    """A copy of the project in which the fields are declared."""
    made, code = Copy.made(tmp_path), "kb/domain/visit.py"
    made.edit(
        code,
        r'    """The fault that mending confirmed, as canonical JSON [^"]*"""\n',
        VISIT_FIELD.lstrip("\n"),
    )
    made.edit(code, r"    setting: str = field\(\n.*\n    \)\n", FINDING_FIELDS.lstrip("\n"))
    made.edit(code, r"    year: int \| None = .*\n", SOURCE_FIELD.lstrip("\n"))
    return made


def test_a_field_added_by_the_recipe_comes_into_an_old_book_and_goes_every_way(
    copy: Copy, tmp_path: Path, server: str
) -> None:
    old, team = tmp_path / "book.sqlite", new_place(server)
    for place in (old, team):
        with Store.open(place) as store:
            store.record([visit()])
    (copy.root / f"kb/store/migrations/versions/{NEXT}_room.py").write_text(STEP, "utf-8")
    copy.edit("kb/store/sqlite_codes.py", rf'^FORMATS: Final = .*"{FORMATS[-1]}"', f', "{NEXT}"')
    for place in (str(old), team):
        assert (
            copy.said(LOOK, place)
            == "client asked for the blue cable behind the shelf of Mrs Alder '' None\n"
        )
    with closing(sqlite3.connect(old)) as book, pytest.raises(sqlite3.IntegrityError, match="stays as it is"):
        book.execute("UPDATE finding SET height_cm = 7")
    copy.passes(*SCHEMA, *WAYS, *MORE_WAYS)


def test_a_field_that_is_a_list_gets_a_table_of_its_own(copy: Copy) -> None:
    copy.edit("kb/domain/visit.py", r"    setting: str = field\(\n.*\n    \)\n", LIST_FIELD.lstrip("\n"))
    copy.passes(*WAYS)
    said = copy.said("from kb.store.schema import metadata; print(*metadata.tables['finding_tags'].columns)")
    assert said.split() == [f"finding_tags.{name}" for name in ("visit", "seq", "place", "tags")]
