"""Does Jackfield hold what it promises? Lint, types and tests, in an environment of its own.

python3 scripts/test.py            all of it
python3 scripts/test.py -k panel   what follows goes to pytest; -n 0 for one process
JACKFIELD_LONG=1 ...               property tests with many more examples
"""

from __future__ import annotations

import os
import subprocess
import sys
import time

from environment import ROOT, ready


def main() -> int:
    python = str(ready("test"))
    # Tests start hundreds of programs: without byte code beside it each would compile all of Jackfield anew.
    env = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}

    def failed(name: str, *command: str) -> list[str]:
        print(f"\n== {name}", flush=True)
        begun = time.monotonic()
        code = subprocess.run([python, "-m", *command], cwd=ROOT, env=env).returncode
        print(f"   {time.monotonic() - begun:.0f} s", flush=True)
        return [name] if code else []

    # Each process of pytest would compile all tests itself: it is done once, while types are checked.
    collect = [python, "-m", "pytest", "--collect-only", *sys.argv[1:]]
    with subprocess.Popen(collect, cwd=ROOT, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL):
        wrong = failed("Lint", "ruff", "check", ".")
        wrong += failed("Format", "ruff", "format", "--check", ".")
        wrong += failed("Types", "mypy")
    wrong += failed("Tests", "pytest", *workers(sys.argv[1:]), *sys.argv[1:])
    print(f"\n{'Failed: ' + ', '.join(wrong) if wrong else 'All passed.'}")
    return 1 if wrong else 0


def workers(given: list[str]) -> list[str]:
    """One process of pytest more than there are cores, as tests wait for programs; at most four: each may
    start a browser and a database server.

    A file's tests stay in one process, as some share what is slow to make; files begin in the order of
    tests/conftest.py, the long ones first. ``-n`` or a debugger turns it off.

    >>> workers(["-n", "0"]), workers(["-p", "no:xdist"]), workers(["--pdb"])
    ([], [], [])
    """
    own = ("-n", "--numprocesses", "--dist", "--pdb", "--trace", "-pno:xdist", "no:xdist")
    if any(one.startswith(own) for one in given):
        return []
    return ["-n", str(min((os.cpu_count() or 1) + 1, 4)), "--dist", "loadfile", "--no-loadscope-reorder"]


if __name__ == "__main__":
    sys.exit(main())
