"""Does Jackfield hold what it promises? Lint, types and tests, in an environment of its own.

python3 scripts/test.py            all of it
python3 scripts/test.py -k panel   what follows goes to pytest
JACKFIELD_LONG=1 ...               property tests with many more examples
"""

from __future__ import annotations

import subprocess
import sys
import time

from environment import ROOT, ready


def main() -> int:
    python = str(ready("test"))
    steps = [
        ("Lint", [python, "-m", "ruff", "check", "."]),
        ("Format", [python, "-m", "ruff", "format", "--check", "."]),
        ("Types", [python, "-m", "mypy"]),
        ("Tests", [python, "-m", "pytest", *sys.argv[1:]]),
    ]
    failed = []
    for name, command in steps:
        print(f"\n== {name}", flush=True)
        begun = time.monotonic()
        if subprocess.run(command, cwd=ROOT).returncode:
            failed.append(name)
        print(f"   {time.monotonic() - begun:.0f} s", flush=True)
    print(f"\n{'Failed: ' + ', '.join(failed) if failed else 'All passed.'}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
