"""Define which facts of a book count: each rule once, as SQL that SQLite and PostgreSQL both read.

Every rule is a function of the set of facts (and of the bundles that were taken back here), so books that
merged in any order agree. The store asks with SQLAlchemy, ``quick.py`` without it; both take the text from
here. What is put into the text is always a name of our own, such as ``visit.id``, never a value.
"""

# ruff: noqa: S608 (only our own names are put into the text)
from __future__ import annotations

from typing import Final

#: A withdrawal counts only if its turn is at most this much above the number of withdrawals of the same
#: fact. So a file cannot name a turn that nobody is able to go above, and a gap (a bundle that is missing
#: here) does no harm.
SLACK: Final = 1000

#: Views of the book, as each is made. They keep the other rules short: SQLite before 3.46 reads no deeply
#: nested statement. Each row of ``bundle_turn`` takes a bundle back, or brings back what was taken back.
VIEWS: Final = {
    "taken": "SELECT bundle FROM bundle_turn GROUP BY bundle HAVING (count(*) & 1) = 1",
    "heard": "SELECT id, revision, fact, turn, stands FROM withdrawal"
    " WHERE revision NOT IN (SELECT bundle FROM taken) OR EXISTS (SELECT 1 FROM came_again"
    " WHERE came_again.fact = withdrawal.id AND came_again.revision NOT IN (SELECT bundle FROM taken))",
}


def taken_back(row: str) -> str:
    """Did the fact of this row (of a table with ``id`` and ``revision``) come only with bundles that were
    taken back? ``heard`` holds the withdrawals of which that is not so."""
    return f"""({row}.revision IN (SELECT bundle FROM taken) AND NOT EXISTS (
      SELECT 1 FROM came_again again
      WHERE again.fact = {row}.id AND again.revision NOT IN (SELECT bundle FROM taken)))"""


def last_word(fact: str) -> str:
    """A query: the last that was said of the fact, by (turn, id), does it stand? Nothing where nothing
    was."""
    return f"""
      SELECT said.stands, said.turn, said.revision FROM heard said,
        (SELECT count(*) AS often FROM withdrawal one WHERE one.fact = {fact}) every
      WHERE said.fact = {fact} AND said.turn <= {SLACK} + every.often
      ORDER BY said.turn DESC, said.id DESC LIMIT 1"""


def withdrawn(fact: str) -> str:
    """Whether the fact was withdrawn last."""
    return f"""(EXISTS (SELECT 1 FROM withdrawal gone WHERE gone.fact = {fact} AND NOT gone.stands)
      AND EXISTS (SELECT 1 FROM ({last_word(fact)}) final WHERE NOT final.stands))"""


def counts(row: str) -> str:
    """Is the fact of this row neither withdrawn nor taken back?"""
    return f"(NOT {taken_back(row)} AND NOT {withdrawn(row + '.id')})"


def successors(visit: str) -> str:
    """A query: the visits that count and correct this one, or a correction of it.

    A visit that was entered again to be shared is corrected by what corrects it under its earlier id, too.
    Not so if it says itself that it corrects one of these, as no honest visit does: else neither would be in
    force.
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
    """Does a visit that counts take its place?"""
    return f"""((EXISTS (SELECT 1 FROM supersession first WHERE first.earlier = {visit})
        OR EXISTS (SELECT 1 FROM entered_anew first WHERE first.visit = {visit}))
      AND EXISTS ({successors(visit)}))"""


def rivals(visit: str) -> str:
    """A query: the visits in force that correct what this one corrects, without either knowing of the
    other."""
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
    """Was the same visit corrected twice, in two books, and does the other correction count? Of several the
    one with the greatest id counts, whatever they say."""
    return f"""(EXISTS (SELECT 1 FROM supersession own WHERE own.visit = {visit})
      AND EXISTS ({rivals(visit)} AND other.id > {visit}))"""


def stands(visit: str) -> str:
    """Does the visit of this row count in what is known of its set?"""
    one = f"{visit}.id"
    return f"({counts(visit)} AND NOT {superseded(one)} AND NOT {outdone(one)})"


# -- what has changed ------------------------------------------------------------------------------
# Queries with one value, ``:since``: the revision after which something was written.

#: Bundles that were taken back, or brought back, since.
_TURNED: Final = "SELECT turned.bundle FROM bundle_turn turned WHERE turned.revision > :since"


def changed(table: str) -> str:
    """A query: ids of the facts of a table that came since, or that count or count no more since, because a
    bundle was taken back or brought back, or because they came once more."""
    return f"""
      SELECT fresh.id FROM {table} fresh WHERE fresh.revision > :since
      UNION SELECT fresh.id FROM {table} fresh WHERE fresh.revision IN ({_TURNED})
      UNION SELECT again.fact FROM came_again again WHERE again.revision > :since
      UNION SELECT again.fact FROM came_again again WHERE again.revision IN ({_TURNED})"""


def retold() -> str:
    """A query: ids of the facts of which a withdrawal has changed so."""
    return f"SELECT gone.fact FROM withdrawal gone WHERE gone.id IN ({changed('withdrawal')})"


def touched() -> str:
    """A query: keys of sets of which something else may be known since, without the merges of spellings.

    What becomes of a visit depends on all that correct it, or correct what it corrects: it is changed with
    them.
    """
    return f"""
      WITH RECURSIVE kin(id) AS (
        SELECT id FROM ({changed("visit")} UNION {retold()}) start
        UNION SELECT CASE WHEN step.visit = kin.id THEN step.earlier ELSE step.visit END
          FROM kin JOIN supersession step ON step.visit = kin.id OR step.earlier = kin.id)
      SELECT one.set_key FROM kin JOIN visit one ON one.id = kin.id
      UNION SELECT one.set_key FROM reviewed_note note JOIN visit one ON one.id = note.visit
        WHERE note.id IN ({changed("reviewed_note")} UNION {retold()})"""
