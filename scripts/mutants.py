"""Change the code of the pure packages in one place at a time, and count how many changes the tests notice.

    python3 scripts/mutants.py                            # 30 mutants of each package
    python3 scripts/mutants.py path isolate --sample 60   # more of two of them
    python3 scripts/mutants.py path --seed 2 --minutes 5 --state /tmp/path.json   # again: goes on from there

A mutant is one changed operator, comparison, boundary, number, flag or returned value, or one statement
left out. For each of them only those tests of the package run that execute the changed statement, in a copy
of the project, one mutant at a time, at low priority and within a time limit; a test that fails, or does
not end, kills the mutant. ``--slowest 2`` leaves out tests that take the processor longer, traced, so the
score is then a lower bound. First all these tests run in that same way without any change, and must pass.
What survives is printed with the old code and the new. ``mutants_equal.toml`` lists changes that change
nothing, each with the reason. The same seed draws the same mutants from the same code.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from copy import deepcopy
from functools import partial
from pathlib import Path
from types import CodeType, FrameType
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("domain", "path", "evidence", "pack", "isolate", "loop")
EQUAL = Path(__file__).with_name("mutants_equal.toml")
#: Seconds that the tests of a mutant may take: at least, and times what they took. The same for the
#: processor's seconds of one test.
LEAST_S, TIMES = 30.0, 10.0
LEAST_CPU_S, TIMES_CPU = 5.0, 2.0
#: Tests that are run before the rest: the quick ones, and those that have killed others.
FIRST = 8
ARGUMENTS = (
    *("-q", "-n", "0", "-p", "no:cacheprovider", "--doctest-modules"),
    # Plugins are loaded once for all mutants, before pytest could rewrite their assertions.
    *("-W", "ignore::pytest.PytestAssertRewriteWarning"),
)

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
    if isinstance(tree, ast.keyword) and tree.arg == "strict":
        return  # of zip: it guards against a mistake in the code itself
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


# -- which tests execute which statement ---------------------------------------------------------------


class Span(NamedTuple):
    """The lines of one statement of a file: of one that holds others, only those before the first of them."""

    file: str
    first: int
    last: int

    def __str__(self) -> str:
        return f"{self.file}:{self.first}-{self.last}"


def span_of(mutant: Mutant) -> Span | None:
    """The statement around a mutant; None outside of functions, where code runs as the module is loaded."""
    tree = ast.parse((ROOT / mutant.file).read_bytes())
    functions = [
        one
        for one in ast.walk(tree)
        if isinstance(one, ast.FunctionDef) and one.body[0].lineno <= mutant.line <= (one.end_lineno or 0)
    ]
    if not functions:
        return None
    around = [
        one
        for one in ast.walk(max(functions, key=lambda one: one.lineno))
        if isinstance(one, ast.stmt) and one.lineno <= mutant.line <= (one.end_lineno or 0)
    ]
    found = max(around, key=lambda one: (one.lineno, one.col_offset))
    body = getattr(found, "body", None)
    last = max(found.lineno, body[0].lineno - 1) if body else found.end_lineno or found.lineno
    return Span(mutant.file, found.lineno, last)


class Reached:
    """A plugin of pytest: which of some statements each test executes, and how long the tests took."""

    def __init__(self, spans: Sequence[Span], slowest: float = 1e6) -> None:
        self._slowest = slowest
        self._lines: dict[str, dict[int, list[Span]]] = defaultdict(lambda: defaultdict(list))
        for span in spans:
            for line in range(span.first, span.last + 1):
                self._lines[str(Path.cwd() / span.file)][line].append(span)
        self._within: dict[CodeType, frozenset[Span]] = {}
        self._seen: set[Span] = set()
        self.tests: dict[str, set[str]] = defaultdict(set)
        self.took: dict[str, float] = defaultdict(float)
        self.failed: set[str] = set()
        self.on_loading: set[Span] = set()

    def pytest_collection_finish(self) -> None:
        """Note what ran as the modules were loaded: that is for all tests."""
        self.on_loading = self._seen

    def pytest_runtest_logstart(self) -> None:
        """Begin with nothing executed; a test may have ended the tracing."""
        self._seen = set()
        self._began = time.process_time()
        sys.settrace(self.call)

    def pytest_runtest_setup(self, item: Any) -> None:
        """Go on only with tests that were not slow with other values, and let each run until it is slow."""
        if self.took[item.nodeid.split("[")[0]] > self._slowest:
            self.too_slow()
        item.runtest = partial(self._timed, item.runtest)

    def _timed(self, test: Callable[[], None]) -> None:
        signal.signal(signal.SIGPROF, self.too_slow)
        signal.setitimer(signal.ITIMER_PROF, self._slowest)
        try:
            test()
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)

    def too_slow(self, *_: object) -> None:
        """Leave the test; hypothesis lets a skipped one go at once."""
        import pytest

        pytest.skip("slow")

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        """Note what the test executed, and the processor's time for it: a busy machine makes no test slow."""
        test = nodeid.split("[")[0]
        self.took[test] += time.process_time() - self._began
        for span in self._seen:
            self.tests[str(span)].add(test)

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Note a failure."""
        if report.failed:
            self.failed.add(report.nodeid.split("[")[0])

    def call(self, frame: FrameType, event: str, arg: object) -> Any:
        """For ``sys.settrace``: follow the lines of a function until its statements are executed."""
        code = frame.f_code
        within = self._within.get(code)
        if within is None:
            lines = self._lines.get(code.co_filename, {})
            within = frozenset(
                span for _, _, line in code.co_lines() if line in lines for span in lines[line]
            )
            self._within[code] = within
        return self.line if within - self._seen else None

    def line(self, frame: FrameType, event: str, arg: object) -> Any:
        """The same for one line."""
        if event == "line":
            self._seen.update(self._lines[frame.f_code.co_filename].get(frame.f_lineno, ()))
            if not self._within[frame.f_code] - self._seen:
                return None
        return self.line


#: What outside of a package's own folders tests it, besides tests/reference/test_PACKAGE*.py.
ELSEWHERE = {"evidence": ("tests/reference/test_shrinkage.py",)}


def places(package: str) -> list[str]:
    """Where the tests of a package are: its folder, the references, and the examples in its docstrings."""
    found = [f"tests/{package}", f"kb/{package}", *ELSEWHERE.get(package, ())]
    found += sorted(str(one.relative_to(ROOT)) for one in ROOT.glob(f"tests/reference/test_{package}*.py"))
    return [one for one in found if (ROOT / one).exists()]


def reach(package: str, out: str, slowest: float) -> None:
    """Write which tests execute the statements on stdin; run inside a copy."""
    import pytest

    plugin = Reached([Span(*one) for one in json.load(sys.stdin)], slowest)
    sys.settrace(plugin.call)
    code = pytest.main([*ARGUMENTS, *places(package)], plugins=[plugin])
    sys.settrace(None)
    if code not in (pytest.ExitCode.OK, pytest.ExitCode.TESTS_FAILED):
        raise SystemExit(f"{package}: its tests do not run")
    # A test that fails without any change says nothing of one.
    tests = {span: sorted(tests - plugin.failed) for span, tests in plugin.tests.items()}
    took = {test: took for test, took in plugin.took.items() if test not in plugin.failed and took <= slowest}
    tests |= {str(span): sorted(took) for span in plugin.on_loading}
    Path(out).write_text(json.dumps({"tests": tests, "took": took, "failed": sorted(plugin.failed)}))


# -- running them --------------------------------------------------------------------------------------


class Failing:
    """A plugin of pytest: the tests that failed. One that takes the processor too long ends the process."""

    def __init__(self, cpu_s: float) -> None:
        self.tests: list[str] = []
        self._cpu_s = cpu_s

    def pytest_runtest_logstart(self) -> None:
        """Begin to count."""
        signal.setitimer(signal.ITIMER_PROF, self._cpu_s)

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Note one."""
        if report.failed:
            self.tests.append(report.nodeid)


def serve() -> None:
    """Run the tests of one mutant after another, each in a fork of a process that has pytest loaded."""
    import hypothesis  # noqa: F401
    import numpy  # noqa: F401
    import pytest

    sys.dont_write_bytecode = True  # two changes within a second would be taken for one
    said = Path("failed.txt")
    for line in sys.stdin:
        asked = json.loads(line)
        file = Path(asked["file"])
        kept = file.read_bytes()
        for old in file.parent.glob(f"__pycache__/{file.stem}.*"):
            old.unlink()
        file.write_text(asked["text"], encoding="utf-8")
        said.write_text("")
        child = os.fork()
        if not child:
            os.setsid()
            quiet = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(quiet, stream)
            failing = Failing(asked["cpu"])
            code = int(pytest.main([*ARGUMENTS, "-x", *asked["tests"]], plugins=[failing]))
            if code:
                said.write_text(" ".join(failing.tests) or f"pytest ended with {code}")
            os._exit(code)
        answer = _ended(child, asked["limit"])
        file.write_bytes(kept)
        print(json.dumps([answer, said.read_text()]), flush=True)


def _ended(child: int, limit: float) -> str:
    end = time.monotonic() + limit
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            slow = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGPROF
            return "too slow" if slow else "survived" if status == 0 else "killed"
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

    def reached(self, package: str, spans: Sequence[Span], slowest: float) -> dict[str, Any]:
        """Which tests of a package execute which of these statements."""
        out = self.root / "reached.json"
        done = subprocess.run(
            self.program("--reach", package, str(out), str(slowest)),
            cwd=self.root,
            env=self.env,
            input=json.dumps(spans),
            capture_output=True,
            text=True,
        )
        if done.returncode:
            raise SystemExit(f"{package}: {done.stdout[-2000:]}{done.stderr[-2000:]}")
        found: dict[str, Any] = json.loads(out.read_text())
        return found

    def verdict(
        self, file: str, text: str, tests: Sequence[str], limits: tuple[float, float]
    ) -> tuple[str, str]:
        """What the tests say of a changed file (killed, survived or too slow), and which of them failed."""
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
        asked = {"file": file, "text": text, "tests": tests, "limit": limits[0], "cpu": limits[1]}
        self._server.stdin.write(json.dumps(asked) + "\n")
        self._server.stdin.flush()
        answer, failed = json.loads(self._server.stdout.readline())
        return str(answer), str(failed)

    def close(self) -> None:
        """End its process."""
        if self._server is not None:
            with self._server:
                self._server.kill()


def tests_for(mutant: Mutant, reached: dict[str, Any]) -> list[str]:
    """The tests that execute the statement of a mutant, the quickest first; outside of a function, all."""
    took = reached["took"]
    span = span_of(mutant)
    found = took if span is None else reached["tests"].get(str(span), ())
    return sorted((test for test in found if test in took), key=lambda test: (took[test], test))


def limits_for(tests: Sequence[str], reached: dict[str, Any]) -> tuple[float, float]:
    """Seconds that these tests may take, and seconds of the processor that each may."""
    took = [reached["took"][test] for test in tests]
    return max(LEAST_S, TIMES * sum(took)), max(LEAST_CPU_S, TIMES_CPU * max(took))


def check_without_change(package: str, copy: Copy, drawn: Sequence[Mutant], reached: dict[str, Any]) -> None:
    """Run all chosen tests as mutants run them: one that fails here would kill every mutant."""
    chosen = {test for one in drawn for test in tests_for(one, reached)}
    tests = sorted(chosen, key=lambda test: (reached["took"][test], test))
    if not tests:
        return
    file = drawn[0].file
    answer, failed = copy.verdict(file, (ROOT / file).read_text("utf-8"), tests, limits_for(tests, reached))
    if answer != "survived":
        raise SystemExit(f"{package}: passes in the order of the files, but not the quickest first: {failed}")


def place_of(mutant: Mutant) -> tuple[str, str, str, str]:
    """What a mutant is known by while lines move: file, code of its line, and the change as printed."""
    line = (ROOT / mutant.file).read_text("utf-8").split("\n")[mutant.line - 1]
    return mutant.file, _flat(line), _flat(mutant.old), _flat(mutant.new)


def equal() -> dict[tuple[str, str, str, str], str]:
    """Changes that change nothing, with the reason."""
    entries = tomllib.loads(EQUAL.read_text("utf-8")).get("equal", []) if EQUAL.exists() else []
    return {(one["file"], one["line"], one["old"], one["new"]): one["why"] for one in entries}


class State:
    """What a run knows so far, kept in a file for its next piece, while code and tests stay the same."""

    def __init__(self, file: str, of: str) -> None:
        self._file = Path(file) if file else None
        digest = hashlib.sha256(of.encode())
        for one in sorted(one for name in ("kb", "tests", "data") for one in (ROOT / name).rglob("*")):
            if one.is_file() and "__pycache__" not in one.parts:
                digest.update(str(one.relative_to(ROOT)).encode() + one.read_bytes())
        self._of = digest.hexdigest()
        self.reached: dict[str, Any] | None = None
        self.verdicts: dict[str, list[str]] = {}
        if self._file and self._file.exists():
            kept = json.loads(self._file.read_text())
            if kept["of"] == self._of:
                self.reached, self.verdicts = kept["reached"], kept["verdicts"]

    def keep(self) -> None:
        """Write it."""
        if self._file:
            kept = {"of": self._of, "reached": self.reached, "verdicts": self.verdicts}
            self._file.write_text(json.dumps(kept))


def drawn_of(package: str, sample: int, seed: int, only: str) -> tuple[list[Mutant], int]:
    """Some mutants of a package, in the order of the files, and how many there are to draw from."""
    same = equal()
    files = sorted(str(one.relative_to(ROOT)) for one in (ROOT / "kb" / package).glob("*.py"))
    every = [one for file in files for one in mutants_of(file) if re.search(only, str(one))]
    every = [one for one in every if place_of(one) not in same]
    # A file that is changed elsewhere draws the same mutants for the rest of the package.
    met: Counter[tuple[str, ...]] = Counter()
    drawn = []
    for one in every:
        place = place_of(one)
        met[place] += 1
        drawn.append((random.Random(f"{seed} {place} {met[place]}").random(), one))
    return sorted(one for _, one in sorted(drawn)[:sample]), len(every)


def run(package: str, said: argparse.Namespace, copy: Copy, end: float) -> list[str]:
    """Print the score of a package, and the mutants that survived; returns these."""
    drawn, of = drawn_of(package, said.sample, said.seed, said.only)
    state = State(said.state, f"{package} {said.sample} {said.seed} {said.only}")
    if state.reached is None:
        spans = sorted({span for one in drawn if (span := span_of(one))})
        state.reached = copy.reached(package, spans, said.slowest)
        check_without_change(package, copy, drawn, state.reached)
        state.keep()
    for one in drawn:
        name = f"{one} at {one.start}"
        if name in state.verdicts or time.monotonic() > end:
            continue
        verdict = ("survived", "")
        kills = Counter(failed.split("[")[0] for _, failed in state.verdicts.values())
        took: dict[str, float] = state.reached["took"]
        # What only a slow test reached may be kept from the others by a cache alone.
        tests = tests_for(one, state.reached) or list(took)
        tests.sort(key=lambda test: took[test] / (1 + 9 * kills[test]))
        # A few of the best first: they are found and loaded soon.
        for some in filter(None, (tests[:FIRST], tests[FIRST:])):
            verdict = copy.verdict(one.file, one.text(ROOT), some, limits_for(some, state.reached))
            if verdict[0] != "survived":
                break
        state.verdicts[name] = list(verdict)
        if said.verbose:
            print(f"  {verdict[0]}: {one}  {verdict[1]}", flush=True)
        state.keep()
    counted = [verdict for verdict, _ in state.verdicts.values()]
    left = [name for name, (verdict, _) in state.verdicts.items() if verdict == "survived"]
    killed = len(counted) - len(left)
    print(f"{package}: {killed} of {len(counted)} killed ({killed / max(1, len(counted)):.0%}), ", end="")
    print(f"{counted.count('too slow')} by time, drawn from {of} with seed {said.seed}", flush=True)
    if len(counted) < len(drawn):
        print(f"  time is up; not tried: {len(drawn) - len(counted)}")
    for test in state.reached["failed"]:
        print(f"  left out, as it fails without any change: {test}")
    for name in left:
        print(f"  survived: {name.rpartition(' at ')[0]}", flush=True)
    return left


def main() -> None:
    """Read the arguments, and do what they say."""
    if sys.argv[1:2] == ["--serve"]:
        return serve()
    if sys.argv[1:2] == ["--reach"]:
        return reach(sys.argv[2], sys.argv[3], float(sys.argv[4]))
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("packages", nargs="*", default=PACKAGES, help=", ".join(PACKAGES))
    asked.add_argument("--sample", type=int, default=30, help="mutants of each package, at most")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--minutes", type=float, default=1e6, help="begin no mutant after so long")
    asked.add_argument("--state", default="", help="a file that a run of one package goes on from")
    asked.add_argument("--only", default="", help="a pattern of what is printed of a mutant")
    asked.add_argument("--slowest", type=float, default=1e6, help="leave out tests that take more seconds")
    asked.add_argument("--verbose", action="store_true", help="print each mutant, and what killed it")
    said = asked.parse_args()
    if said.state and len(said.packages) != 1:
        asked.error("a state file is for one package")
    end = time.monotonic() + 60 * said.minutes
    os.nice(10)
    with tempfile.TemporaryDirectory(prefix="jackfield-mutants-") as folder:
        copy = Copy(Path(folder) / "copy")
        try:
            survived = [one for package in said.packages for one in run(package, said, copy, end)]
        finally:
            copy.close()
    sys.exit(bool(survived))


if __name__ == "__main__":
    main()
