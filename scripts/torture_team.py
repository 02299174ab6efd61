"""Is anything lost that a team's book acknowledged, if its server is killed again and again?

    python3 scripts/torture_team.py                        a minute
    python3 scripts/torture_team.py --minutes 10 --seed 7

The same people, phones and programs as in ``torture.py``, and the same ledger and final check. Here the book
is on a PostgreSQL server of the script's own, which somebody kills with SIGKILL, stops at once or in good
order, or makes drop its connections, and starts again. A command may then fail. It must say so in ordinary
words, and if it says that nothing was changed, the visit must not be there at the end.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from team_server import Database, database, server_programs
from torture import Actor, Run, Terminal, torture
from torture_ledger import ABSENT, Fact
from torture_programs import Answer, Ground, scratch

from environment import ready

#: Words that no message to a user may hold, whatever happens to the server.
FOREIGN = ("mistake in Jackfield", "Traceback", "[SQL", "sqlalche", "psycopg.", "restore")
NOT_SAVED = ("nothing was changed", "cannot be reached")
SAVED = "what this command wrote before that is saved"


@dataclass(frozen=True)
class TeamGround(Ground):
    """A book on a server."""

    def integrity(self) -> list[str]:
        """What the server itself finds wrong with tables and indexes of the book."""
        import psycopg

        assert self.store
        found = []
        with psycopg.connect(self.store.replace("+psycopg", ""), autocommit=True) as server:
            try:
                server.execute("CREATE EXTENSION IF NOT EXISTS amcheck")
            except psycopg.Error:
                return []  # a server without its contributed modules: the book's own checks remain
            trees = server.execute(
                "SELECT i.indexrelid::regclass::text FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid"
                " WHERE c.relnamespace = current_schema()::regnamespace"
            ).fetchall()
            for (tree,) in trees:
                try:
                    server.execute("SELECT bt_index_check(%s::regclass, true)", (tree,))
                except psycopg.Error as wrong:
                    found.append(f"{tree}: {str(wrong).splitlines()[0]}")
        return found

    def anew(self, folder: Path) -> Ground:
        """The same book for a new machine, whose index is built anew."""
        return TeamGround(folder, self.store)


class TeamTerminal(Terminal):
    """Somebody who types commands on the team's book; what a command says of a failure is believed."""

    KINDS: ClassVar[dict[str, int]] = {k: n for k, n in Terminal.KINDS.items() if k != "backup"}
    alone = False  #: was the latest act one command, so that its message tells all there is to know?

    def trouble(self, answer: Answer) -> None:
        """The server may be away. That is told in ordinary words."""
        super().trouble(answer)
        if any(word in answer.wrong for word in FOREIGN):
            self.ledger.violated("foreign words", str(answer))

    def again(self, *words: str | Path, typed: str = "") -> Answer:
        answer = self.command(*words, typed=typed)
        self.alone = answer.code is not None
        if not self.alone:
            return super().again(*words, typed=typed)
        return answer

    def record_twice(self) -> None:
        self.alone = False
        super().record_twice()

    def recorded(self, facts: Sequence[Fact], answer: Answer, what: str) -> None:
        super().recorded(facts, answer, what)
        says_no = any(word in answer.wrong for word in NOT_SAVED) and SAVED not in answer.wrong
        if answer.code == 3 and self.alone and says_no:
            for fact in facts:
                self.ledger.may(fact, {ABSENT}, f"{what}: told that nothing was changed")
            self.ledger.count(f"{what.split()[0].split('-')[0]} not saved", "done")


class Outage(Actor):
    """Whoever pulls the plug of the database server, and puts it in again."""

    def __init__(self, run: Run, server: Database) -> None:
        super().__init__(run, "outage")
        self.server = server

    def act(self) -> None:
        """Some seconds of work, then an end of one kind, then some time without a server."""
        rest = self.on.until - time.monotonic()
        time.sleep(max(0.0, min(self.chance.uniform(1.5, 7.0), rest)))
        how = self.chance.choice(("kill -9", "immediate", "fast", "connections"))
        if how == "connections":
            self.drop_connections()
        else:
            if how == "kill -9":
                self.server.kill()
            else:
                self.server.stop(how)
            time.sleep(self.chance.choice((0.0, 0.0, 0.5, 2.0)))
            self.server.start()
        self.ledger.count(f"server {how}", "killed")

    def drop_connections(self) -> None:
        """End all connections of others, as an administrator or a network does."""
        import psycopg

        with psycopg.connect(self.server.url.replace("+psycopg", ""), autocommit=True) as server:
            server.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()"
            )


def main() -> int:
    if os.name == "nt" or not hasattr(os, "pidfd_open"):
        print("the torture run needs Linux: it forks, and kills with SIGKILL", file=sys.stderr)
        return 2
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--minutes", type=float, default=1.0)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    python = ready("test")
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return subprocess.run([str(python), __file__, *sys.argv[1:]]).returncode
    programs = server_programs()
    if programs is None:
        print("no PostgreSQL server programs on this machine; on Debian: apt-get install postgresql")
        return 2
    with scratch() as folder, database(programs) as server:
        return torture(
            TeamGround(Path(folder) / "home", server.url),
            Path(folder),
            given.minutes,
            given.seed,
            terminal=TeamTerminal,
            more=lambda run: [Outage(run, server)],
            trouble_is_fine=True,
        )


if __name__ == "__main__":
    sys.exit(main())
