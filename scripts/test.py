"""Does Jackfield hold what it promises? Lint, types and tests, in an environment of its own.

python3 scripts/test.py            all of it
python3 scripts/test.py -k panel   what follows goes to pytest; -n 0 for one process
python3 scripts/test.py --prepare  only make the environment
JACKFIELD_LONG=1 ...               property tests with many more examples
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time

from environment import ROOT, ready


def main() -> int:
    python = str(ready("test"))
    if sys.argv[1:] == ["--prepare"]:
        return 0
    # Tests start hundreds of programs: without byte code beside it each would compile all of Jackfield anew.
    env = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}

    def failed(name: str, *command: str) -> list[str]:
        print(f"\n== {name}", flush=True)
        begun = time.monotonic()
        code = subprocess.run([python, "-m", *command], cwd=ROOT, env=env).returncode
        print(f"   {time.monotonic() - begun:.0f} s", flush=True)
        return [name] if code else []

    wrong = failed("Lint", "ruff", "check", ".")
    wrong += failed("Format", "ruff", "format", "--check", ".")
    with (
        tempfile.TemporaryDirectory(prefix="jf-", dir=memory(), ignore_cleanup_errors=True) as folder,
        tempfile.TemporaryFile("w+", encoding="utf-8") as said,
        # One process checks all types, so that the tests have the other cores meanwhile.
        subprocess.Popen([python, "-m", "mypy"], cwd=ROOT, env=env, stdout=said, stderr=said) as types,
    ):
        env["TMPDIR"] = folder
        os.chmod(folder, 0o711)  # PostgreSQL never runs as root: its files are another user's
        # Each process of pytest would compile all tests itself: it is done once.
        collect = [python, "-m", "pytest", "--collect-only", "-qq", *sys.argv[1:]]
        subprocess.run(collect, cwd=ROOT, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wrong += failed("Tests", "pytest", *workers(sys.argv[1:]), *sys.argv[1:])
        code = types.wait()
        said.seek(0)
        print(f"\n== Types\n{said.read()}", end="", flush=True)
        wrong += ["Types"] if code else []
    print(f"\n{'Failed: ' + ', '.join(wrong) if wrong else 'All passed.'}")
    return 1 if wrong else 0


def memory() -> str | None:
    """The folder for what tests write: in memory if the machine has room there, else the usual one.

    Each visit that a test records waits until the disk has it, some ten thousand times in a run.
    """
    try:
        about = os.statvfs("/dev/shm")
    except (AttributeError, OSError):
        return None
    room = about.f_bavail * about.f_frsize >= 4e9
    return "/dev/shm" if room and os.access("/dev/shm", os.W_OK) and not about.f_flag & os.ST_NOEXEC else None


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
