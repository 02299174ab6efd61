"""Let the database itself refuse to change recorded facts.

By triggers, for every program that opens it: a fact is neither changed nor deleted, and the revision
only grows. SQLite's INSERT OR REPLACE deletes without a DELETE trigger, so there is a guard on INSERT.
"""

from __future__ import annotations

from kb.store.schema import FACTS, metadata


def guards(dialect: str) -> list[str]:
    """Return the statements that add every guard to a database of this dialect."""
    return _sqlite() if dialect == "sqlite" else _postgresql()


def _sqlite() -> list[str]:
    made = []
    for name in FACTS:
        kept = f"SELECT RAISE(ABORT, '{name}: what is recorded stays as it is')"
        keys = (f"{column.name} = NEW.{column.name}" for column in metadata.tables[name].primary_key)
        same = f"SELECT 1 FROM {name} WHERE {' AND '.join(keys)}"  # noqa: S608 (our own names)
        made += [
            f"CREATE TRIGGER {name}_kept_update BEFORE UPDATE ON {name} BEGIN {kept}; END",
            f"CREATE TRIGGER {name}_kept_delete BEFORE DELETE ON {name} BEGIN {kept}; END",
            f"CREATE TRIGGER {name}_kept_insert BEFORE INSERT ON {name} WHEN EXISTS ({same})"
            f" BEGIN {kept}; END",
        ]
    there = "SELECT 1 FROM book"
    one = "SELECT RAISE(ABORT, 'book: there is one, and its revision only grows')"
    made += [
        "CREATE TRIGGER book_kept_update BEFORE UPDATE ON book WHEN NEW.revision <= OLD.revision"
        f" OR NEW.id <> OLD.id OR NEW.one <> OLD.one BEGIN {one}; END",
        f"CREATE TRIGGER book_kept_delete BEFORE DELETE ON book BEGIN {one}; END",
        f"CREATE TRIGGER book_kept_insert BEFORE INSERT ON book WHEN EXISTS ({there}) BEGIN {one}; END",
    ]
    return made


def _postgresql() -> list[str]:
    made = [
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
    ]
    made += [
        f"CREATE TRIGGER {name}_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON {name} FOR EACH STATEMENT"
        " EXECUTE FUNCTION jackfield_kept()"
        for name in FACTS
    ]
    return made
