"""Change the code of the pure packages in one place at a time, and count how many changes the tests notice.

    python3 scripts/mutants.py                            # 30 mutants of each package
    python3 scripts/mutants.py path isolate --sample 60   # more of two of them
    python3 scripts/mutants.py path --seed 2 --minutes 5 --state /tmp/path.json   # again: goes on from there

A mutant is one changed operator, comparison, boundary, number, flag or returned value, or one statement
left out. All happens in a copy of the project, one mutant at a time. First each test runs
alone, with a probe before each statement: so it is known which tests execute a statement. ``--slowest 2``
leaves out tests that take the processor longer, and ``--budget 20`` gives the tests of one mutant that many
seconds of it; the score is then a lower bound. Then one process loads all
tests, and for each mutant a fork of it changes the function in place and runs the tests that execute it,
the quickest first, up to the first failure. Code that runs as a module is loaded needs a process of its own.
A test that fails kills the mutant, and so does one that takes the processor much longer than before. If only
the clock runs out, the machine may be busy: the mutant is tried again with more time, and counted apart.
What survives is printed with the old code and the new. ``mutants_equal.toml`` lists changes that change
nothing, each with the reason. The same seed draws the same mutants from the same code.
"""

from __future__ import annotations

import argparse
import ast
import builtins
import gc
import hashlib
import inspect
import json
import math
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter, defaultdict
from collections.abc import Container, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager, suppress
from copy import deepcopy
from itertools import accumulate, pairwise
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any, NamedTuple, TextIO

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("domain", "path", "evidence", "pack", "isolate", "loop")
EQUAL = Path(__file__).with_name("mutants_equal.toml")
#: Seconds of the clock that the tests of a mutant may take: at least, and times what they took.
LEAST_S, TIMES = 60.0, 20.0
#: The same for the processor's seconds of one test.
LEAST_CPU_S, TIMES_CPU = 3.0, 5.0
#: A smaller number allows for rounding or keeps from dividing by zero: half as much again does the same.
ROUNDING = 1e-6
#: Memory that the tests of a mutant may take more than their process: a loop without end would take all.
MOST_BYTES = 2 << 30
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
    """One change: bytes ``start`` to ``end`` of a file (from the root) become ``new``.

    ``statement`` names the statement of a function around it; it is empty outside of functions.
    """

    file: str
    line: int
    start: int
    end: int
    old: str
    new: str
    statement: str

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
    for node, new, around in _changes(ast.parse(code), False, None):
        start = begins[node.lineno - 1] + node.col_offset
        end = begins[(node.end_lineno or node.lineno) - 1] + (node.end_col_offset or 0)
        old = code[start:end].decode()
        found.append(Mutant(file, node.lineno, start, end, old, new, _place(file, around) if around else ""))
    return found


def _changes(
    tree: ast.AST, within: bool, around: ast.stmt | None
) -> Iterator[tuple[Any, str, ast.stmt | None]]:
    """(node, its new code, the statement around it); ``within`` says whether ``tree`` is in a function."""
    if isinstance(tree, ast.If) and "TYPE_CHECKING" in ast.unparse(tree.test):
        return
    if isinstance(tree, ast.keyword) and tree.arg == "strict":
        return  # of zip: it guards against a mistake in the code itself
    if isinstance(tree, ast.stmt):
        around = tree if within else None
        for node, text in _of_statement(tree):
            yield node, text, around
    if isinstance(tree, ast.expr):
        for new in _of_expression(tree):
            yield tree, f"({ast.unparse(new)})", around
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "decorator_list", "type_comment", "pattern"):
            continue
        inner = within or (isinstance(tree, ast.FunctionDef) and name == "body")
        for one in value if isinstance(value, list) else [value]:
            # What is raised is a message; places within an f-string are not told exactly.
            if isinstance(one, ast.AST) and not isinstance(one, ast.Raise | ast.JoinedStr | ast.Import):
                yield from _changes(one, inner, around)


def _of_statement(node: ast.stmt) -> Iterator[tuple[Any, str]]:
    if isinstance(node, ast.Return) and node.value and ast.unparse(node.value) not in ("None", "False"):
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
    elif isinstance(node, ast.Constant) and isinstance(node.value, float) and not 0 < node.value < ROUNDING:
        yield ast.Constant(node.value * 1.5 if node.value else 0.5)


# -- which tests execute which statement ---------------------------------------------------------------


def probed(file: str) -> tuple[str, list[str]]:
    """A file with a probe before each statement of its functions, and the names of these statements."""
    names: list[str] = []

    def enter(node: ast.AST, within: bool) -> None:
        for name, value in ast.iter_fields(node):
            inner = within or (isinstance(node, ast.FunctionDef) and name == "body")
            parts = value if isinstance(value, list) else [value]
            for one in parts:
                if isinstance(one, ast.AST):
                    enter(one, inner)
            if inner and parts and isinstance(parts[0], ast.stmt):
                text = isinstance(parts[0], ast.Expr) and isinstance(parts[0].value, ast.Constant)
                for at in range(len(parts), int(text), -1):
                    names.append(_place(file, parts[at - 1]))
                    value.insert(at - 1, ast.parse(f"_executed.add({names[-1]!r})").body[0])

    tree = ast.parse((ROOT / file).read_bytes())
    enter(tree, False)
    return ast.unparse(tree), names


def _place(file: str, node: ast.stmt) -> str:
    return f"{file}:{node.lineno}:{node.col_offset}"


#: What outside of a package's own folders tests it, besides tests/reference/test_PACKAGE*.py.
ELSEWHERE = {"evidence": ("tests/reference/test_shrinkage.py",)}


def places(package: str) -> list[str]:
    """Where the tests of a package are: its folder, the references, and the examples in its docstrings."""
    found = [f"tests/{package}", f"kb/{package}", *ELSEWHERE.get(package, ())]
    found += sorted(str(one.relative_to(ROOT)) for one in ROOT.glob(f"tests/reference/test_{package}*.py"))
    return [one for one in found if (ROOT / one).exists()]


# -- running them --------------------------------------------------------------------------------------


class Serving:
    """A plugin of pytest: collects the tests once, and runs some of them in a fork for each line on stdin.

    A line names a changed file, its text, the tests, and two limits: seconds of the processor for a test,
    and of the clock for all. The answer is a verdict, the test that failed, and the seconds.
    """

    def __init__(self, package: str, asked: TextIO, answers: TextIO, executed: set[str]) -> None:
        self._package = package
        self._asked, self._answers, self._executed = asked, answers, executed
        self._cpu_s = 0.0
        self._failed = ""

    def pytest_sessionstart(self) -> None:
        """Let hypothesis stop at the first failing example: nobody reads it, so it need not be small."""
        import hypothesis

        phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
        hypothesis.settings.register_profile("mutants", phases=phases, database=None)
        hypothesis.settings.load_profile("mutants")

    def pytest_runtestloop(self, session: Any) -> bool:
        """Answer until the end of stdin."""
        self._tests = {item.nodeid: item for item in session.items}
        loaded = sorted(self._executed)
        self._fill_caches()
        self._functions: dict[str, list[FunctionType]] = defaultdict(list)
        for one in gc.get_objects():
            if isinstance(one, FunctionType):
                self._functions[one.__code__.co_filename].append(one)
        gc.freeze()
        self._say(list(self._tests), loaded)
        for line in self._asked:
            self._say(*self._verdict(json.loads(line)))
        return True

    def _fill_caches(self) -> None:
        """Read once for all forks what other packages keep of their files: no mutant changes that."""
        for name, module in list(sys.modules.items()):
            if name.startswith("kb.") and name.split(".")[1] != self._package:
                for one in list(vars(module).values()):
                    if hasattr(one, "cache_info") and not inspect.signature(one).parameters:
                        one()

    def _say(self, *answer: object) -> None:
        print(json.dumps(answer), file=self._answers, flush=True)

    def _verdict(self, asked: dict[str, Any]) -> tuple[object, ...]:
        result = Path("result.json")
        result.unlink(missing_ok=True)
        child = os.fork()
        if not child:
            os.setsid()
            more = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 + MOST_BYTES
            resource.setrlimit(resource.RLIMIT_DATA, (more, more))
            try:
                self._in_fork(asked, result)
            finally:
                os._exit(0)
        end = time.monotonic() + asked["limit"]
        while not (done := os.waitpid(child, os.WNOHANG))[0] and time.monotonic() < end:
            time.sleep(0.005)
        with suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)  # and what a test left running
        if not done[0]:
            os.waitpid(child, 0)
            return ("stuck", "", 0.0)
        if os.WIFSIGNALED(done[1]) and os.WTERMSIG(done[1]) == signal.SIGPROF:
            return ("too slow", "", 0.0)
        return tuple(json.loads(result.read_text())) if result.exists() else ("killed", "the process", 0.0)

    def _in_fork(self, asked: dict[str, Any], result: Path) -> None:
        self._executed.clear()
        try:
            if asked["file"]:
                self._change(asked["file"], asked["text"])
        except ValueError:  # it uses other names of a function around it
            result.write_text(json.dumps(["fresh", "", 0.0]))
            return
        began = time.process_time()
        self._run([self._tests[name] for name in asked["tests"]], asked["cpu"])
        took = time.process_time() - began
        signal.setitimer(signal.ITIMER_PROF, 0)
        Path("executed.json").write_text(json.dumps(sorted(self._executed)))
        result.write_text(json.dumps(["killed" if self._failed else "survived", self._failed, took]))

    def _run(self, tests: Sequence[Any], cpu_s: float) -> None:
        for test, after in pairwise([*tests, None]):  # none: nothing fails, so the mutant survives
            signal.setitimer(signal.ITIMER_PROF, cpu_s)
            test.config.hook.pytest_runtest_protocol(item=test, nextitem=after)
            if self._failed:
                return

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Note a failure."""
        if report.failed:
            self._failed = report.nodeid

    def _change(self, file: str, text: str) -> None:
        """Give every function of a loaded file the code that it has in the changed text."""
        name = str(Path.cwd() / file)
        codes = list(_codes(compile(text, name, "exec", dont_inherit=True)))
        alike = Counter(_name_of(code) for code in codes)
        new = {_name_of(code): code for code in codes if alike[_name_of(code)] == 1}
        for one in self._functions[name]:
            changed = new.get(_name_of(one.__code__))
            if changed is not None and changed != one.__code__:
                one.__code__ = changed


def _codes(code: CodeType) -> Iterator[CodeType]:
    yield code
    for one in code.co_consts:
        if isinstance(one, CodeType):
            yield from _codes(one)


def _name_of(code: CodeType) -> tuple[str, int]:
    return code.co_qualname, code.co_firstlineno


def serve(package: str) -> None:
    """Collect the tests of a package, and run them as asked; run inside a copy."""
    import pytest

    executed: set[str] = set()
    builtins._executed = executed  # type: ignore[attr-defined] # the probes add to it
    sys.dont_write_bytecode = True
    asked, answers = os.fdopen(os.dup(0)), os.fdopen(os.dup(1), "w")
    quiet = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(quiet, stream)
    pytest.main([*ARGUMENTS, *places(package)], plugins=[Serving(package, asked, answers, executed)])
    os._exit(0)


class Copy:
    """A copy of the project with a process that runs the tests of mutants in it."""

    def __init__(self, folder: Path) -> None:
        self.root = folder
        skip = shutil.ignore_patterns("__pycache__", ".hypothesis")
        for name in ("kb", "data", "tests", "scripts"):
            shutil.copytree(ROOT / name, folder / name, ignore=skip)
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, folder)

    def serving(self, package: str) -> Served:
        """A process that has the tests of a package loaded."""
        return Served(self.root, package)

    @contextmanager
    def changed(self, file: str, text: str) -> Iterator[None]:
        """Have another text in a file; programs that tests start read it there."""
        path = self.root / file
        kept, when = path.read_bytes(), path.stat()
        path.write_text(text, "utf-8")
        try:
            yield
        finally:
            path.write_bytes(kept)
            os.utime(path, ns=(when.st_atime_ns, when.st_mtime_ns))  # what is compiled of it is right again


class Served:
    """A process that runs tests in forks of itself; see ``Serving``."""

    def __init__(self, root: Path, package: str) -> None:
        quiet = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1")
        env = {**os.environ, **quiet, "PYTHONPATH": str(root), "PYTHONHASHSEED": "0"}
        self._process = subprocess.Popen(
            [sys.executable, str(root / "scripts" / Path(__file__).name), "--serve", package],
            cwd=root,
            env=env,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        #: The tests, and the statements that were executed as modules were loaded; none if that fails.
        self.tests: list[str] = []
        self.on_loading: list[str] = []
        if loaded := self._answer():
            self.tests, self.on_loading = loaded

    def _answer(self) -> Any:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        return json.loads(line) if line else None

    def verdict(
        self, file: str, text: str, tests: Sequence[str], limits: tuple[float, float]
    ) -> tuple[str, str, float]:
        """What the tests say of a changed file, which of them failed, and the seconds that they took.

        It is killed, survived, "too slow" by the processor's time, or "stuck" by the clock's.
        """
        assert self._process.stdin is not None
        asked = {"file": file, "text": text, "tests": tests, "limit": limits[0], "cpu": limits[1]}
        print(json.dumps(asked), file=self._process.stdin, flush=True)
        verdict, failed, took = self._answer()
        return verdict, failed, took

    def close(self) -> None:
        """End the process."""
        with self._process:
            self._process.kill()


class Trace:
    """Which tests of a package execute each of its statements, and how long each test takes."""

    def __init__(self, package: str, slowest: float) -> None:
        self.package, self.slowest = package, slowest
        self.tests: dict[str, list[str]] = {}
        self.took: dict[str, float] = {}
        self.left_out: dict[str, str] = {}
        self.on_loading: list[str] = []
        self.complete = self.checked = False

    def go_on(self, copy: Copy, end: float) -> None:
        """Run the tests that did not run yet, each in a fork of its own, until the time is up."""
        with ExitStack() as stack:
            for file in files_of(self.package):
                text, found = probed(file)
                stack.enter_context(copy.changed(file, text))
                for name in found:
                    self.tests.setdefault(name, [])
            server = stack.enter_context(closing(copy.serving(self.package)))
            if not server.tests:
                raise SystemExit(f"{self.package}: its tests cannot be loaded")
            self.on_loading = server.on_loading
            limits = (20 * self.slowest + LEAST_S, self.slowest)
            for test in server.tests:
                if test in self.took or test in self.left_out:
                    continue
                if time.monotonic() > end:
                    return
                verdict, _, seconds = server.verdict("", "", [test], limits)
                if verdict != "survived":
                    self.left_out[test] = verdict
                    continue
                self.took[test] = seconds
                for name in json.loads((copy.root / "executed.json").read_text()):
                    self.tests[name].append(test)
        self.complete = True

    def forget(self, files: Container[str]) -> None:
        """Forget the tests of some files: they have changed, or are new."""
        self.complete = self.checked = False
        for known in (self.took, self.left_out):
            for test in [test for test in known if test.split("::")[0] in files]:
                del known[test]
        for found in self.tests.values():
            found[:] = [test for test in found if test in self.took]

    def leave_out_what_fails(self, server: Served) -> None:
        """Run all tests as mutants run them, without a change: one that fails would kill every mutant."""
        while True:
            tests = sorted(self.took, key=lambda test: (self.took[test], test))
            verdict, failed, _ = server.verdict("", "", tests, limits_for(tests, self.took))
            self.checked = verdict == "survived"
            if self.checked:
                return
            if failed not in self.took:
                raise SystemExit(
                    f"{self.package}: its tests do not pass without a change: {verdict} {failed}"
                )
            self.left_out[failed] = "fails after others, without a change"
            del self.took[failed]
            for found in self.tests.values():
                found[:] = [test for test in found if test != failed]


def limits_for(tests: Sequence[str], took: dict[str, float]) -> tuple[float, float]:
    """Seconds of the clock that these tests may take, and seconds of the processor that each may."""
    found = [took[test] for test in tests]
    return LEAST_S + TIMES * sum(found), LEAST_CPU_S + TIMES_CPU * max(found, default=0)


def tests_for(mutant: Mutant, trace: Trace, kills: Counter[str], budget: float) -> list[str]:
    """The tests that execute the statement of a mutant, the quickest and those that killed others first.

    They take the processor ``budget`` seconds at most, the first one apart.

    If it is executed as its module is loaded, every test comes in, those that execute code of its file first.
    """
    loading = is_on_loading(mutant, trace)
    found = list(trace.took) if loading else trace.tests[mutant.statement]
    inside = (tests for at, tests in trace.tests.items() if loading and at.startswith(f"{mutant.file}:"))
    near = set[str]().union(*inside)
    tests = sorted(found, key=lambda test: (test not in near, trace.took[test] / (1 + kills[test]), test))
    spent = list(accumulate(trace.took[test] for test in tests))
    return [test for test, seconds in zip(tests, spent, strict=True) if test == tests[0] or seconds <= budget]


def is_on_loading(mutant: Mutant, trace: Trace) -> bool:
    """Is the code of a mutant executed as its module is loaded? Every test may then see it."""
    return not mutant.statement or mutant.statement in trace.on_loading


def place_of(mutant: Mutant) -> tuple[str, str, str, str]:
    """What a mutant is known by while lines move: file, code of its line, and the change as printed."""
    line = (ROOT / mutant.file).read_text("utf-8").split("\n")[mutant.line - 1]
    return mutant.file, _flat(line), _flat(mutant.old), _flat(mutant.new)


def equal() -> dict[tuple[str, str, str, str], str]:
    """Changes that change nothing, with the reason."""
    entries = tomllib.loads(EQUAL.read_text("utf-8")).get("equal", []) if EQUAL.exists() else []
    return {(one["file"], one["line"], one["old"], one["new"]): one["why"] for one in entries}


class State:
    """What a run knows so far, kept in a file for its next piece.

    The trace of a test is kept while its file and the package stay the same. Verdicts are kept while all code
    and all tests do, or, to try new tests on the survivors, those of mutants that are killed.
    """

    def __init__(
        self, file: str, package: str, slowest: float, again: bool = False, budget: float = math.inf
    ) -> None:
        self._file = Path(file) if file else None
        self._of = {name: _digest(ROOT / name) for name in _parts()}
        self._of["budget"] = str(budget)
        self._of["run"] = f"{package} {slowest} {_digest(ROOT / 'kb' / package)}"
        self.trace = Trace(package, slowest)
        self.verdicts: dict[str, list[str]] = {}
        if self._file and self._file.exists():
            kept = json.loads(self._file.read_text())
            changed = {name for name, _ in kept["of"].items() ^ self._of.items()}
            if all(
                Path(name).name.startswith("test_") or name in ("kb", "data", "budget") for name in changed
            ):
                vars(self.trace).update(kept["trace"])
                if changed:
                    self.trace.forget(changed)
            if again or not changed:
                self.verdicts = kept["verdicts"]
            if again:
                self.verdicts = {name: one for name, one in self.verdicts.items() if one[0] != "survived"}

    def keep(self) -> None:
        """Write it."""
        if self._file:
            kept = {"of": self._of, "trace": vars(self.trace), "verdicts": self.verdicts}
            self._file.write_text(json.dumps(kept))


def _parts() -> list[str]:
    """The folders of code and data, and each file of the tests."""
    tests = [str(one.relative_to(ROOT)) for one in sorted((ROOT / "tests").rglob("*.py"))]
    return ["kb", "data", *tests]


def _digest(part: Path) -> str:
    digest = hashlib.sha256()
    for one in sorted(part.rglob("*")) if part.is_dir() else [part]:
        if one.is_file() and "__pycache__" not in one.parts:
            digest.update(str(one).encode() + one.read_bytes())
    return digest.hexdigest()


def files_of(package: str) -> list[str]:
    """The modules of a package."""
    return sorted(str(one.relative_to(ROOT)) for one in (ROOT / "kb" / package).glob("*.py"))


def drawn_of(package: str, sample: int, seed: int, only: str) -> tuple[dict[str, Mutant], int]:
    """Some mutants of a package by name, in the order of the files, and how many there are to draw from."""
    same = equal()
    every = [one for file in files_of(package) for one in mutants_of(file) if re.search(only, str(one))]
    every = [one for one in every if place_of(one) not in same]
    # A file that is changed elsewhere draws the same mutants for the rest of the package.
    met: Counter[tuple[str, ...]] = Counter()
    drawn = []
    for one in every:
        place = place_of(one)
        met[place] += 1
        drawn.append((random.Random(f"{seed} {place} {met[place]}").random(), one, f"{place} {met[place]}"))
    return {name: one for _, one, name in sorted(sorted(drawn)[:sample], key=lambda each: each[1])}, len(
        every
    )


def verdict_of(
    mutant: Mutant, copy: Copy, server: Served, trace: Trace, kills: Counter[str], budget: float
) -> tuple[str, str]:
    """What the tests say of a mutant, and which of them failed."""
    text = mutant.text(copy.root)
    tests = tests_for(mutant, trace, kills, budget)
    clock, cpu = limits_for(tests, trace.took)
    verdict, failed = "fresh" if is_on_loading(mutant, trace) else "stuck", ""
    with copy.changed(mutant.file, text):
        for times in (1, 5):  # the clock goes on while others use the processor: once more, with more time
            if verdict == "stuck":
                verdict, failed, _ = server.verdict(mutant.file, text, tests, (times * clock, cpu))
        if verdict == "fresh":
            with closing(copy.serving(trace.package)) as fresh:
                there = set(fresh.tests)
                lost = next((test for test in tests if test not in there), None)
                if lost:
                    return "killed", f"not loaded: {lost}"
                # The file has the change already; nothing is changed in what was loaded from it.
                verdict, failed, _ = fresh.verdict(mutant.file, text, tests, (5 * clock, cpu))
    return verdict, failed


def run(package: str, said: argparse.Namespace, copy: Copy, end: float) -> list[str]:
    """Print the score of a package, and the mutants that survived; returns these."""
    drawn, of = drawn_of(package, said.sample, said.seed, said.only)
    state = State(said.state, package, said.slowest, said.again, said.budget)
    trace = state.trace
    if not trace.complete:
        trace.go_on(copy, end)
        state.keep()
    kills = Counter(failed for _, failed in state.verdicts.values())
    with closing(copy.serving(package)) as server:
        if trace.complete and not trace.checked:
            trace.leave_out_what_fails(server)
            state.keep()
        for name, mutant in drawn.items():
            if name in state.verdicts or not trace.complete or time.monotonic() > end:
                continue
            verdict = verdict_of(mutant, copy, server, trace, kills, said.budget)
            kills[verdict[1]] += 1
            state.verdicts[name] = list(verdict)
            if said.verbose:
                print(f"  {verdict[0]}: {mutant}  {verdict[1]}", flush=True)
            if len(state.verdicts) % 5 == 0:
                state.keep()
    state.keep()
    counted = {name: state.verdicts[name][0] for name in drawn if name in state.verdicts}
    left = [str(drawn[name]) for name, verdict in counted.items() if verdict == "survived"]
    killed = len(counted) - len(left)
    how = Counter(counted.values())
    print(f"{package}: {killed} of {len(counted)} killed ({killed / max(1, len(counted)):.1%}), ", end="")
    print(f"{how['too slow']} by the processor's time, {how['stuck']} by the clock, ", end="")
    print(f"drawn from {of} with seed {said.seed}", flush=True)
    if len(counted) < len(drawn):
        print(f"  time is up; not tried: {len(drawn) - len(counted)}")
    for test, why in trace.left_out.items():
        print(f"  left out: {test}: {why}")
    for one in left:
        print(f"  survived: {one}", flush=True)
    return left


def main() -> None:
    """Read the arguments, and do what they say."""
    if sys.argv[1:2] == ["--serve"]:
        return serve(sys.argv[2])
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("packages", nargs="*", default=PACKAGES, help=", ".join(PACKAGES))
    asked.add_argument("--sample", type=int, default=30, help="mutants of each package, at most")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--minutes", type=float, default=1e6, help="begin no mutant after so long")
    asked.add_argument("--state", default="", help="a file that a run of one package goes on from")
    asked.add_argument(
        "--again", action="store_true", help="after new tests: keep from the file what is killed"
    )
    asked.add_argument("--only", default="", help="a pattern of what is printed of a mutant")
    asked.add_argument("--slowest", type=float, default=1e6, help="leave out tests that take more seconds")
    asked.add_argument(
        "--budget", type=float, default=math.inf, help="seconds of the processor for the tests of one mutant"
    )
    asked.add_argument("--verbose", action="store_true", help="print each mutant, and what killed it")
    said = asked.parse_args()
    if said.state and len(said.packages) != 1:
        asked.error("a state file is for one package")
    end = time.monotonic() + 60 * said.minutes
    with tempfile.TemporaryDirectory(prefix="jackfield-mutants-") as folder:
        copy = Copy(Path(folder) / "copy")
        survived = [one for package in said.packages for one in run(package, said, copy, end)]
    sys.exit(bool(survived))


if __name__ == "__main__":
    main()
