"""Define which facts of a book count: each rule once, as SQL that SQLite and PostgreSQL both read.

Every rule depends only on the facts (and on the bundles taken back here), so books that merged in any order
agree. The store uses the rules with SQLAlchemy, ``one_set.py`` without it. The text contains only our own
names, such as ``visit.id``, never a value.
"""

# ruff: noqa: S608 (only our own names are in the text)
from __future__ import annotations

from typing import Final

#: A withdrawal counts only if its turn is at most this much above the number of withdrawals of the same fact.
#: So a file cannot name a turn that nobody can exceed, and a gap (a missing bundle) does no harm.
SLACK: Final = 1000

#: Views of the book. They keep the other rules short, since SQLite before 3.46 reads no deeply nested
#: statement. Each row of ``bundle_turn`` takes a bundle back, or restores it.
VIEWS: Final = {
    "taken": "SELECT bundle FROM bundle_turn GROUP BY bundle HAVING (count(*) & 1) = 1",
    "heard": "SELECT id, revision, fact, turn, stands FROM withdrawal"
    " WHERE revision NOT IN (SELECT bundle FROM taken) OR EXISTS (SELECT 1 FROM came_again"
    " WHERE came_again.fact = withdrawal.id AND came_again.revision NOT IN (SELECT bundle FROM taken))",
}


def taken_back(row: str) -> str:
    """Return a condition: the fact of this row came only with bundles that were taken back.

    The row is of a table with ``id`` and ``revision``. ``heard`` holds the withdrawals without this
    condition.
    """
    return f"""({row}.revision IN (SELECT bundle FROM taken) AND NOT EXISTS (
      SELECT 1 FROM came_again again
      WHERE again.fact = {row}.id AND again.revision NOT IN (SELECT bundle FROM taken)))"""


def last_word(fact: str) -> str:
    """Return a query for the last withdrawal or reinstatement of the fact, by (turn, id); empty if none."""
    return f"""
      SELECT said.stands, said.turn, said.revision FROM heard said,
        (SELECT count(*) AS often FROM withdrawal one WHERE one.fact = {fact}) every
      WHERE said.fact = {fact} AND said.turn <= {SLACK} + every.often
      ORDER BY said.turn DESC, said.id DESC LIMIT 1"""


def withdrawn(fact: str) -> str:
    """Return a condition: the last word on the fact is a withdrawal."""
    return f"""(EXISTS (SELECT 1 FROM withdrawal gone WHERE gone.fact = {fact} AND NOT gone.stands)
      AND EXISTS (SELECT 1 FROM ({last_word(fact)}) final WHERE NOT final.stands))"""


def counts(row: str) -> str:
    """Return a condition: the fact of this row is neither withdrawn nor taken back."""
    return f"(NOT {taken_back(row)} AND NOT {withdrawn(row + '.id')})"


def successors(visit: str) -> str:
    """Return a query for the visits that count and correct this one, or a correction of it.

    A visit entered again for sharing has the corrections of its earlier id, too. A visit does not count here
    if it says that it corrects one of these, as no honest visit does. Otherwise neither would be in force.
    """
    return f"""
      WITH RECURSIVE later(id, same) AS (
        SELECT step.visit, 0 FROM supersession step WHERE step.earlier = {visit}
        UNION SELECT step.visit, 1 FROM entered_anew own
          JOIN supersession step ON step.earlier = own.earlier
          LEFT JOIN entered_anew twin ON twin.visit = step.visit AND twin.earlier = own.earlier
          WHERE own.visit = {visit} AND twin.visit IS NULL
        UNION SELECT step.visit, later.same FROM later JOIN supersession step ON step.earlier = later.id)
      SELECT DISTINCT newer.id FROM later JOIN visit newer ON newer.id = later.id
      WHERE newer.id <> {visit} AND {counts("newer")}
        AND (later.same = 0 OR NOT EXISTS (SELECT 1 FROM supersession named
          JOIN later circle ON circle.id = named.earlier WHERE named.visit = {visit}))"""


def superseded(visit: str) -> str:
    """Return a condition: a visit that counts replaces it."""
    return f"""((EXISTS (SELECT 1 FROM supersession first WHERE first.earlier = {visit})
        OR EXISTS (SELECT 1 FROM entered_anew first WHERE first.visit = {visit}))
      AND EXISTS ({successors(visit)}))"""


def rivals(visit: str) -> str:
    """Return a query for visits in force that correct the same visit, without either knowing the other."""
    return f"""
      WITH RECURSIVE root(id) AS (
        SELECT step.earlier FROM supersession step WHERE step.visit = {visit}
        UNION SELECT step.earlier FROM supersession step JOIN root ON step.visit = root.id),
      rival(id) AS (
        SELECT step.visit FROM supersession step JOIN root ON step.earlier = root.id
        UNION SELECT step.visit FROM supersession step JOIN rival ON step.earlier = rival.id)
      SELECT other.id FROM rival JOIN visit other ON other.id = rival.id
      WHERE other.id <> {visit} AND {counts("other")} AND NOT {superseded("other.id")}"""


def outdone(visit: str) -> str:
    """Return a condition: two books corrected the same visit, and the other correction counts.

    Of several corrections, the one with the greatest id counts, whatever their content.
    """
    return f"""(EXISTS (SELECT 1 FROM supersession own WHERE own.visit = {visit})
      AND EXISTS ({rivals(visit)} AND other.id > {visit}))"""


def in_force(visit: str) -> str:
    """Return a condition: the visit of this row counts for its set."""
    one = f"{visit}.id"
    return f"({counts(visit)} AND NOT {superseded(one)} AND NOT {outdone(one)})"


# -- what has changed ------------------------------------------------------------------------------
# Queries with one value, ``:since``: the revision after which something was written.

#: Bundles that were taken back, or restored, since.
_TURNED: Final = "SELECT turned.bundle FROM bundle_turn turned WHERE turned.revision > :since"


def changed(table: str) -> str:
    """Return a query for ids of a table's facts that came, came once more, or changed in force since.

    Taking a bundle back, or restoring it, changes them.
    """
    return f"""
      SELECT fresh.id FROM {table} fresh WHERE fresh.revision > :since
      UNION SELECT fresh.id FROM {table} fresh WHERE fresh.revision IN ({_TURNED})
      UNION SELECT again.fact FROM came_again again WHERE again.revision > :since
      UNION SELECT again.fact FROM came_again again WHERE again.revision IN ({_TURNED})"""


def retold() -> str:
    """Return a query for ids of facts with a changed withdrawal since."""
    return f"SELECT gone.fact FROM withdrawal gone WHERE gone.id IN ({changed('withdrawal')})"


def touched() -> str:
    """Return a query for keys of sets with possible changes since, without the merges of spellings.

    The state of a visit depends on all corrections of it, and on corrections of its predecessors: it changes
    with them.
    """
    return f"""
      WITH RECURSIVE kin(id) AS (
        SELECT id FROM ({changed("visit")} UNION {retold()}) start
        UNION SELECT CASE WHEN step.visit = kin.id THEN step.earlier ELSE step.visit END
          FROM kin JOIN supersession step ON step.visit = kin.id OR step.earlier = kin.id)
      SELECT one.set_key FROM kin JOIN visit one ON one.id = kin.id
      UNION SELECT one.set_key FROM reviewed_note note JOIN visit one ON one.id = note.visit
        WHERE note.id IN ({changed("reviewed_note")} UNION {retold()})"""
