"""Let the database itself refuse to change recorded facts.

By triggers, for every program that opens it: a fact is neither changed nor deleted, and the revision
only grows. SQLite's INSERT OR REPLACE deletes without a DELETE trigger, so there is a guard on INSERT.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from kb.store.schema import FACTS, metadata


def guards(dialect: str, facts: Mapping[str, Iterable[str]] | None = None) -> list[str]:
    """Return the statements that add every guard to a database of this dialect.

    ``facts``: the columns of the primary key of each guarded table; those of the present schema if not given.
    """
    if facts is None:
        facts = {name: [one.name for one in metadata.tables[name].primary_key] for name in FACTS}
    return [*_BOOK[dialect], *kept(dialect, facts)]


def kept(dialect: str, facts: Mapping[str, Iterable[str]]) -> list[str]:
    """Return the statements that keep the rows of these tables as they are."""
    made = []
    for name, keys in facts.items():
        if dialect != "sqlite":
            made.append(
                f"CREATE TRIGGER {name}_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON {name} FOR EACH STATEMENT"
                " EXECUTE FUNCTION jackfield_kept()"
            )
            continue
        stays = f"SELECT RAISE(ABORT, '{name}: what is recorded stays as it is')"
        same = f"SELECT 1 FROM {name} WHERE {' AND '.join(f'{key} = NEW.{key}' for key in keys)}"  # noqa: S608 (our own names)
        made += [
            f"CREATE TRIGGER {name}_kept_update BEFORE UPDATE ON {name} BEGIN {stays}; END",
            f"CREATE TRIGGER {name}_kept_delete BEFORE DELETE ON {name} BEGIN {stays}; END",
            f"CREATE TRIGGER {name}_kept_insert BEFORE INSERT ON {name} WHEN EXISTS ({same})"
            f" BEGIN {stays}; END",
        ]
    return made


_ONE: Final = "SELECT RAISE(ABORT, 'book: there is one, and its revision only grows')"
_BOOK: Final = {
    "sqlite": (
        "CREATE TRIGGER book_kept_update BEFORE UPDATE ON book WHEN NEW.revision <= OLD.revision"
        f" OR NEW.id <> OLD.id OR NEW.one <> OLD.one BEGIN {_ONE}; END",
        f"CREATE TRIGGER book_kept_delete BEFORE DELETE ON book BEGIN {_ONE}; END",
        "CREATE TRIGGER book_kept_insert BEFORE INSERT ON book WHEN EXISTS (SELECT 1 FROM book)"  # noqa: S608
        f" BEGIN {_ONE}; END",
    ),
    "postgresql": (
        "CREATE FUNCTION jackfield_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION"
        " '%: what is recorded stays as it is', TG_TABLE_NAME USING ERRCODE = '23000';"
        " END $$",
        "CREATE FUNCTION jackfield_grows() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
        " IF NEW.revision <= OLD.revision OR NEW.id <> OLD.id OR NEW.one <> OLD.one THEN RAISE EXCEPTION"
        " 'book: there is one, and its revision only grows' USING ERRCODE = '23000';"
        " END IF; RETURN NEW; END $$",
        "CREATE TRIGGER book_kept_update BEFORE UPDATE ON book FOR EACH ROW"
        " EXECUTE FUNCTION jackfield_grows()",
        "CREATE TRIGGER book_kept_delete BEFORE DELETE OR TRUNCATE ON book FOR EACH STATEMENT"
        " EXECUTE FUNCTION jackfield_kept()",
    ),
}
