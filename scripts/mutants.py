"""Change the code of the pure packages in one place at a time, and count how many changes the tests notice.

    python3 scripts/mutants.py                            # 30 mutants of each package
    python3 scripts/mutants.py path isolate --sample 60   # more of two of them
    python3 scripts/mutants.py path --seed 2 --jobs 2     # others; two at a time

A mutant is one changed operator, comparison, boundary, number, flag or returned value, or one statement
left out. For each of them only those tests of the package run that call the changed function, in a copy of
the project and within a time limit; a test that fails, or does not end, kills the mutant. What survives is
printed with the old line and the new one. ``mutants_equal.toml`` lists changes that change nothing, each
with the reason. The same seed draws the same mutants from the same code.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import tomllib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from copy import deepcopy
from pathlib import Path
from queue import Empty, SimpleQueue
from types import CodeType, FrameType
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("domain", "path", "evidence", "pack", "isolate", "loop")
EQUAL = Path(__file__).with_name("mutants_equal.toml")
LEAST_S, TIMES = (
    30.0,
    10.0,
)  #: seconds that the tests of a mutant may take: at least, and times what they took
ARGUMENTS = ("-q", "-n", "0", "-p", "no:cacheprovider", "--doctest-modules")

SWAPS: dict[type[Any], type[Any]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


class Mutant(NamedTuple):
    """One change: bytes ``start`` to ``end`` of a file (from the root) become ``new``."""

    file: str
    line: int
    start: int
    end: int
    old: str
    new: str

    def text(self, root: Path) -> str:
        """The changed file."""
        code = (root / self.file).read_bytes()
        return (code[: self.start] + self.new.encode() + code[self.end :]).decode()

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {_flat(self.old)}  ->  {_flat(self.new)}"


def _flat(code: str) -> str:
    return " ".join(code.split())[:100]


# -- which changes there are ---------------------------------------------------------------------------


def mutants_of(file: str) -> list[Mutant]:
    """Every mutant of a file, in the order of the file."""
    code = (ROOT / file).read_bytes()
    begins = [0]
    for line in code.split(b"\n"):
        begins.append(begins[-1] + len(line) + 1)
    found = []
    for node, new in _changes(ast.parse(code)):
        start = begins[node.lineno - 1] + node.col_offset
        end = begins[(node.end_lineno or node.lineno) - 1] + (node.end_col_offset or 0)
        old = code[start:end].decode()
        found.append(Mutant(file, node.lineno, start, end, old, new))
    return found


def _changes(tree: ast.AST) -> Iterator[tuple[Any, str]]:
    """(node, what stands there instead)."""
    if isinstance(tree, ast.If) and "TYPE_CHECKING" in ast.unparse(tree.test):
        return
    if isinstance(tree, ast.stmt):
        yield from _of_statement(tree)
    if isinstance(tree, ast.expr):
        for new in _of_expression(tree):
            yield tree, f"({ast.unparse(new)})"
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "decorator_list", "type_comment", "pattern"):
            continue
        for one in value if isinstance(value, list) else [value]:
            # What is raised is a message; places within an f-string are not told exactly.
            if isinstance(one, ast.AST) and not isinstance(one, ast.Raise | ast.JoinedStr | ast.Import):
                yield from _changes(one)


def _of_statement(node: ast.stmt) -> Iterator[tuple[Any, str]]:
    if isinstance(node, ast.Return) and node.value and ast.unparse(node.value) != "None":
        yield node.value, "None"
    elif isinstance(node, ast.If | ast.While):
        yield node.test, f"(not ({ast.unparse(node.test)}))"
    elif _can_be_left_out(node):
        yield node, "pass"


def _can_be_left_out(node: ast.stmt) -> bool:
    """Does it only do something, and names no value that the rest needs?"""
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Call)
    if isinstance(node, ast.Assign):
        return not isinstance(node.targets[0], ast.Name | ast.Tuple)
    return isinstance(node, ast.AugAssign | ast.Continue | ast.Break)


def _of_expression(node: ast.expr) -> Iterator[ast.expr]:
    if isinstance(node, ast.Compare):
        for at, op in enumerate(node.ops):
            if type(op) in SWAPS:
                new = deepcopy(node)
                new.ops[at] = SWAPS[type(op)]()
                yield new
    elif isinstance(node, ast.BinOp | ast.BoolOp):
        if type(node.op) in SWAPS:
            changed = deepcopy(node)
            changed.op = SWAPS[type(node.op)]()
            yield changed
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield node.operand
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        yield ast.Constant(node.value + 1)
    elif isinstance(node, ast.Constant) and isinstance(node.value, float):
        yield ast.Constant(node.value * 1.5 if node.value else 0.5)


# -- which tests call which function -------------------------------------------------------------------


class Reached:
    """A plugin of pytest: the functions of a package that each test calls, and how long the tests took."""

    def __init__(self, package: str) -> None:
        self._folder = str(Path.cwd() / "kb" / package) + os.sep
        self._called: set[CodeType] = set()
        self.functions: dict[str, set[str]] = defaultdict(set)
        self.took: dict[str, float] = defaultdict(float)
        self.failed: set[str] = set()

    def pytest_runtest_logstart(self) -> None:
        """Begin with nothing called; a test may have ended the tracing."""
        self._called = set()
        sys.settrace(self.trace)

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        """Note what the test called."""
        for code in tuple(self._called):  # it is traced, too
            if code.co_filename.startswith(self._folder):
                self.functions[f"{os.path.relpath(code.co_filename)}:{code.co_firstlineno}"].add(
                    nodeid.split("[")[0]
                )

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Note how long a part of it took."""
        test = report.nodeid.split("[")[0]
        self.took[test] += report.duration
        if report.failed:
            self.failed.add(test)

    def trace(self, frame: FrameType, event: str, arg: object) -> None:
        """For ``sys.settrace``: calls alone, as lines cost too much."""
        self._called.add(frame.f_code)


def places(package: str) -> list[str]:
    """Where the tests of a package are: its folder, the references, and the examples in its docstrings."""
    found = [f"tests/{package}", f"kb/{package}"]
    found += sorted(str(one.relative_to(ROOT)) for one in ROOT.glob(f"tests/reference/test_{package}*.py"))
    return [one for one in found if (ROOT / one).exists()]


def reach(package: str, out: str) -> None:
    """Write which tests call which function; run inside a copy."""
    import pytest

    plugin = Reached(package)
    sys.settrace(plugin.trace)
    code = pytest.main([*ARGUMENTS, *places(package)], plugins=[plugin])
    sys.settrace(None)
    if code not in (pytest.ExitCode.OK, pytest.ExitCode.TESTS_FAILED):
        raise SystemExit(f"{package}: its tests do not run")
    # A test that fails without any change says nothing of one.
    functions = {place: sorted(tests - plugin.failed) for place, tests in plugin.functions.items()}
    took = {test: took for test, took in plugin.took.items() if test not in plugin.failed}
    Path(out).write_text(json.dumps({"functions": functions, "took": took, "failed": sorted(plugin.failed)}))


# -- running them --------------------------------------------------------------------------------------


def serve() -> None:
    """Run the tests of one mutant after another, each in a fork of a process that has pytest loaded."""
    import hypothesis  # noqa: F401
    import numpy  # noqa: F401
    import pytest

    sys.dont_write_bytecode = True  # two changes within a second would be taken for one
    for line in sys.stdin:
        asked = json.loads(line)
        file = Path(asked["file"])
        kept = file.read_bytes()
        for old in file.parent.glob(f"__pycache__/{file.stem}.*"):
            old.unlink()
        file.write_text(asked["text"], encoding="utf-8")
        child = os.fork()
        if not child:
            os.setsid()
            quiet = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(quiet, stream)
            os._exit(int(pytest.main([*ARGUMENTS, "-x", *asked["tests"]])))
        answer = _ended(child, asked["limit"])
        file.write_bytes(kept)
        print(json.dumps(answer), flush=True)


def _ended(child: int, limit: float) -> str:
    end = time.monotonic() + limit
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return "survived" if status == 0 else "killed"
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "too slow"


class Copy:
    """A copy of the project with a process that runs the tests of mutants in it."""

    def __init__(self, folder: Path) -> None:
        self.root = folder
        skip = shutil.ignore_patterns("__pycache__", ".hypothesis")
        for name in ("kb", "data", "tests", "scripts"):
            shutil.copytree(ROOT / name, folder / name, ignore=skip)
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, folder)
        self._server: subprocess.Popen[str] | None = None

    def program(self, *words: str) -> list[str]:
        """This script, to be run in the copy."""
        return [sys.executable, str(self.root / "scripts" / Path(__file__).name), *words]

    @property
    def env(self) -> dict[str, str]:
        """What its programs are run with."""
        env = {**os.environ, "PYTHONPATH": str(self.root), "PYTHONHASHSEED": "0"}
        env.pop("PYTHONDONTWRITEBYTECODE", None)
        return env

    def reached(self, package: str) -> dict[str, Any]:
        """Which tests of a package call which function."""
        out = self.root / "reached.json"
        done = subprocess.run(
            self.program("--reach", package, str(out)),
            cwd=self.root,
            env=self.env,
            capture_output=True,
            text=True,
        )
        if done.returncode:
            raise SystemExit(f"{package}: {done.stdout[-2000:]}{done.stderr[-2000:]}")
        found: dict[str, Any] = json.loads(out.read_text())
        return found

    def verdict(self, file: str, text: str, tests: Sequence[str], limit: float) -> str:
        """What the tests say of a changed file: killed, survived or too slow."""
        if self._server is None:
            self._server = subprocess.Popen(
                self.program("--serve"),
                cwd=self.root,
                env=self.env,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
        assert self._server.stdin is not None
        assert self._server.stdout is not None
        asked = {"file": file, "text": text, "tests": tests, "limit": limit}
        self._server.stdin.write(json.dumps(asked) + "\n")
        self._server.stdin.flush()
        return str(json.loads(self._server.stdout.readline()))

    def close(self) -> None:
        """End its process."""
        if self._server is not None:
            self._server.kill()
            self._server.wait()


def tests_for(mutant: Mutant, reached: dict[str, Any]) -> list[str]:
    """The tests that call the function of a mutant, the quickest first; outside of a function, all."""
    took = reached["took"]
    begin = _function_of(mutant)
    found = took if begin is None else reached["functions"].get(f"{mutant.file}:{begin}", ())
    return sorted(found, key=lambda test: (took.get(test, 0.0), test))


def _function_of(mutant: Mutant) -> int | None:
    """Where the innermost function around it begins, its decorators included."""
    inside = [
        one
        for one in ast.walk(ast.parse((ROOT / mutant.file).read_bytes()))
        if isinstance(one, ast.FunctionDef) and one.body[0].lineno <= mutant.line <= (one.end_lineno or 0)
    ]
    if not inside:
        return None
    innermost = max(inside, key=lambda one: one.lineno)
    return min([innermost.lineno, *(one.lineno for one in innermost.decorator_list)])


def equal() -> dict[tuple[str, str, str], str]:
    """Changes that change nothing, with the reason."""
    entries = tomllib.loads(EQUAL.read_text("utf-8")).get("equal", []) if EQUAL.exists() else []
    return {(one["file"], one["old"], one["new"]): one["why"] for one in entries}


def run(packages: Sequence[str], sample: int, seed: int, jobs: int, only: str) -> int:
    """Print the score of each package and what survived; returns how many did."""
    same, survived = equal(), 0
    with tempfile.TemporaryDirectory(prefix="jackfield-mutants-") as folder:
        copies = [Copy(Path(folder) / str(number)) for number in range(jobs)]
        try:
            for package in packages:
                survived += len(_package(package, copies, sample, seed, only, same))
        finally:
            for copy in copies:
                copy.close()
    return survived


def _package(
    package: str,
    copies: Sequence[Copy],
    sample: int,
    seed: int,
    only: str,
    same: dict[tuple[str, str, str], str],
) -> list[Mutant]:
    files = sorted(str(one.relative_to(ROOT)) for one in (ROOT / "kb" / package).glob("*.py"))
    every = [one for file in files for one in mutants_of(file) if re.search(only, str(one))]
    every = [one for one in every if (one.file, _flat(one.old), _flat(one.new)) not in same]
    # A file that is changed elsewhere draws the same mutants for the rest of the package.
    drawn = sorted(every, key=lambda one: random.Random(f"{seed} {one.file} {one.old} {one.new}").random())
    drawn = sorted(drawn[:sample])
    reached = copies[0].reached(package)
    if drawn:  # without a change they must pass, or every mutant would be killed
        first, tests = drawn[0], tests_for(drawn[0], reached)
        if tests and copies[0].verdict(first.file, (ROOT / first.file).read_text(), tests, 600) != "survived":
            raise SystemExit(f"{package}: tests that passed together fail alone: {' '.join(tests)[:2000]}")
    waiting: SimpleQueue[Mutant] = SimpleQueue()
    for one in drawn:
        waiting.put(one)
    verdicts: dict[Mutant, str] = {}

    def work(copy: Copy) -> None:
        while True:
            try:
                one = waiting.get_nowait()
            except Empty:
                return
            tests = tests_for(one, reached)
            limit = max(LEAST_S, TIMES * sum(reached["took"].get(test, 0.0) for test in tests))
            text = one.text(ROOT)
            verdicts[one] = copy.verdict(one.file, text, tests, limit) if tests else "not reached"

    threads = [threading.Thread(target=work, args=(copy,)) for copy in copies]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    left = [one for one in drawn if verdicts[one] in ("survived", "not reached")]
    killed = len(drawn) - len(left)
    slow = sum(verdict == "too slow" for verdict in verdicts.values())
    print(f"{package}: {killed} of {len(drawn)} killed ({killed / max(1, len(drawn)):.0%}), {slow} by time,")
    print(f"  drawn from {len(every)} with seed {seed}", flush=True)
    for test in reached["failed"]:
        print(f"  left out, as it fails without any change: {test}")
    for one in left:
        print(f"  {verdicts[one]}: {one}", flush=True)
    return left


def main() -> None:
    """Read the arguments, and do what they say."""
    if sys.argv[1:2] == ["--serve"]:
        return serve()
    if sys.argv[1:2] == ["--reach"]:
        return reach(sys.argv[2], sys.argv[3])
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("packages", nargs="*", default=PACKAGES, help=", ".join(PACKAGES))
    asked.add_argument("--sample", type=int, default=30, help="mutants of each package, at most")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="copies in which tests run")
    asked.add_argument("--only", default="", help="a pattern of what is printed of a mutant")
    said = asked.parse_args()
    sys.exit(bool(run(said.packages, said.sample, said.seed, said.jobs, said.only)))


if __name__ == "__main__":
    main()
