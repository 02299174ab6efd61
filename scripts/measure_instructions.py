"""Count the instructions of cold starts here and in another checkout, such as one of an older commit.

    git worktree add ../older COMMIT
    python3 scripts/measure.py instructions ../older

The counts are those of valgrind (Debian: ``apt-get install valgrind``). They are the same on a busy machine,
so a change of one percent shows. Both checkouts run in the environment that scripts/test.py makes.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from environment import ROOT

COMMANDS = {
    "find": ("find", "nv40-210"),
    "find words": ("find", "headphone"),
    "path": ("path", "Norwell", "NV40-210"),
    "show": ("show", "Norwell", "NV40-210"),
}
RUN = "import sys; from kb.cli.main import main; sys.exit(main())"
VALGRIND = ("valgrind", "--tool=cachegrind", "--cache-sim=no", "--cachegrind-out-file=/dev/null")


def counts(checkout: Path) -> dict[str, float]:
    """Millions of instructions of each command on the demo book, once all is learned and compiled."""
    with tempfile.TemporaryDirectory() as home:
        env = {**os.environ, "JACKFIELD_HOME": home, "PYTHONPATH": str(checkout), "PYTHONHASHSEED": "0"}
        env.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program has its byte code beside it

        def run(*words: str, under: tuple[str, ...] = ()) -> str:
            command = [*under, sys.executable, "-c", RUN, *words]
            done = subprocess.run(command, env=env, cwd=home, capture_output=True, text=True)
            if done.returncode:
                raise SystemExit(f"{' '.join(words)} in {checkout}: {done.stderr[-500:]}")
            return done.stderr

        run("record", "--file", str(checkout / "data" / "demo" / "visits.jsonl"))
        found = {}
        for name, words in COMMANDS.items():
            run(*words)
            run(*words)
            counted = re.search(r"I +refs: +([\d,]+)", run(*words, under=VALGRIND))
            if counted is None:
                raise SystemExit("valgrind counted nothing")
            found[name] = int(counted[1].replace(",", "")) / 1e6
        return found


def main() -> int:
    if len(sys.argv) != 2 or not (Path(sys.argv[1]) / "kb").is_dir():
        print("name the folder of another checkout", file=sys.stderr)
        return 2
    before, now = counts(Path(sys.argv[1]).resolve()), counts(ROOT)
    print("command     there, million  here  ratio")
    for name in COMMANDS:
        print(f"{name:10}  {before[name]:14.0f}  {now[name]:4.0f}  {now[name] / before[name]:5.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
