"""Packages keep to their layers.

Imports go to strictly lower layers and never in a circle; each package takes only the libraries on
its list.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

KB = Path(__file__).resolve().parent.parent / "kb"

#: The layer of each package or top-level module.
LAYERS: Mapping[str, int] = {
    "kb.base": 0,
    "kb.domain": 1,
    "kb.settings": 2,
    "kb.catalogue": 2,
    "kb.loop": 2,
    "kb.path": 3,
    "kb.evidence": 4,
    "kb.isolate": 4,
    "kb.pack": 5,
    "kb.store": 6,
    "kb.index": 6,
    "kb.exchange": 7,
    "kb.sheet": 7,
    "kb.read": 7,
    "kb.book": 8,
    "kb.cli": 9,
    "kb.web": 9,
    "kb": 11,
    "kb.serve": 10,
}
#: Libraries besides the standard library that a package may import; what is not listed may import none.
LIBRARIES: Mapping[str, set[str]] = {
    "kb.settings": {"platformdirs"},
    "kb.loop": {"matplotlib", "numpy", "scipy"},
    "kb.store": {"sqlalchemy", "alembic", "uuid_utils"},
    "kb.index": {"whoosh"},
    "kb.exchange": {"sqlalchemy", "cryptography"},
    "kb.sheet": {"jinja2", "markupsafe", "segno"},
    "kb.read": {"PIL", "cv2", "numpy", "pi_heif", "pypdfium2", "rapidocr"},
    "kb.cli": {"click", "rich"},
    "kb.web": {
        "flask",
        "werkzeug",
        "markupsafe",
        "h11",
        "segno",
        "uuid_utils",
        "markdown_it",
    },
    "kb.serve": {"click"},
}
#: Modules of the standard library that the pure packages do without, so that they run on any Python.
IMPURE = {"sqlite3", "threading", "multiprocessing", "subprocess", "fcntl", "msvcrt", "ctypes", "socket"}
PURE = {name for name, layer in LAYERS.items() if 1 <= layer <= 5 and name != "kb.settings"}
#: Where a lookup of a model begins, and what it may do without besides: it reads the index from SQLite.
LOOKUP = "kb.index.reader"
IMPURE_FOR_LOOKUP = IMPURE - {"sqlite3"}
#: Names that modules of several packages have, as they are about one thing. A command or a page may have the
#: name of what it shows; those are not here.
ONE_THING = {
    "chance": "how likely a jack carries sound: what it is, and its estimate",
    "day": "the sheet of a day: put together, and written",
    "document": "an answer as JSON",
    "driver": "a loop driver: what it is, and whether it suffices",
    "jobs": "the jobs of a book, and those of a file",
    "panel": "a panel: from visits, and from a photo",
    "sentences": "sentences for people, by their keys",
    "wording": "an answer as sentences for people",
}


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(KB.parent).with_suffix("").parts).removesuffix(".__init__")


MODULES: Mapping[str, Path] = {name_of(path): path for path in sorted(KB.rglob("*.py"))}


def package_of(module: str) -> str:
    return ".".join(module.split(".")[:2])


@cache
def import_nodes(source: str) -> tuple[ast.Import | ast.ImportFrom, ...]:
    """Every import of a source, which several tests ask for."""
    nodes = ast.walk(ast.parse(source))
    return tuple(node for node in nodes if isinstance(node, ast.Import | ast.ImportFrom))


def imports(source: str, known: Iterable[str] = MODULES) -> Iterator[str]:
    """Every module that a source imports, also those named in ``from package import module``."""
    known = set(known)
    for node in import_nodes(source):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        else:
            assert node.level == 0, "relative import"
            parent = node.module or ""
            for alias in node.names:
                whole = f"{parent}.{alias.name}"
                yield whole if whole in known else parent


def wrong_layer(module: str, source: str) -> list[str]:
    """Imports of a module that do not go to a strictly lower layer."""
    here = package_of(module)
    return [
        f"{module} imports {there}"
        for there in sorted(set(imports(source)))
        if package_of(there) in LAYERS
        and package_of(there) != here
        and LAYERS[package_of(there)] >= LAYERS[here]
    ]


def wrong_library(module: str, source: str) -> list[str]:
    """Libraries that a module imports and its package may not."""
    here = package_of(module)
    tops = {name.split(".")[0] for name in imports(source)} - {"kb"}
    foreign = {name for name in tops if name not in sys.stdlib_module_names} - LIBRARIES.get(here, set())
    return sorted(foreign | (tops & IMPURE if here in PURE else set()))


def loaded(module: str, sources: Mapping[str, str]) -> dict[str, set[str]]:
    """Every module of ``kb`` that importing a module loads, with what it imports at that moment."""
    out: dict[str, set[str]] = {}
    waiting = [module]
    while waiting:
        name = waiting.pop()
        if name in sources and name not in out:
            out[name] = set(imports_at_once(sources[name], sources))
            waiting += [*out[name], *(name[:at] for at, char in enumerate(name) if char == ".")]
    return out


def imports_at_once(source: str, known: Iterable[str] = MODULES) -> Iterator[str]:
    """What a source imports when it is loaded: not inside functions, and not for the type checker alone."""
    whole = ast.parse(source)
    for node in ast.walk(whole):
        later = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        later |= isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        if later:
            node.body = [ast.Pass()]  # type: ignore[attr-defined]
    yield from imports(ast.unparse(whole), known)


def wrong_for_lookup(module: str, sources: Mapping[str, str]) -> list[str]:
    """What a lookup that begins in a module loads, and must do without on a bare Python."""
    return sorted(
        f"{name} imports {there}"
        for name, all_of in loaded(module, sources).items()
        for there in all_of
        if (top := there.split(".")[0]) != "kb"
        and (top not in sys.stdlib_module_names or top in IMPURE_FOR_LOOKUP)
    )


def circle(sources: Mapping[str, str]) -> list[str]:
    """The modules of one import circle, or nothing."""
    graph = {
        module: {there for there in imports(source, sources) if there in sources and there != module}
        for module, source in sources.items()
    }
    try:
        list(TopologicalSorter(graph).static_order())
    except CycleError as found:
        return list(found.args[1])
    return []


@pytest.mark.parametrize("module", MODULES)
def test_imports_go_to_lower_layers_only(module: str) -> None:
    assert package_of(module) in LAYERS, f"{module} has no layer"
    assert not wrong_layer(module, MODULES[module].read_text("utf-8"))


@pytest.mark.parametrize("module", MODULES)
def test_a_package_imports_only_the_libraries_on_its_list(module: str) -> None:
    assert not wrong_library(module, MODULES[module].read_text("utf-8"))


def test_a_lookup_loads_only_what_any_python_has() -> None:
    """So that it runs where there are no threads, no locks of files and no compiled libraries."""
    sources = {module: path.read_text("utf-8") for module, path in MODULES.items()}
    assert not wrong_for_lookup(LOOKUP, sources)
    assert {"kb.index.candidates", "kb.index.scoring", "kb.base.files"} <= loaded(LOOKUP, sources).keys()
    assert "kb.index.text_search" not in loaded(LOOKUP, sources)


def test_no_modules_import_each_other_in_a_circle() -> None:
    assert not circle({module: path.read_text("utf-8") for module, path in MODULES.items()})


def test_toml_is_parsed_in_one_place() -> None:
    """Its strict parser names what is wrong; one that goes past it does not."""
    users = [name for name, path in MODULES.items() if "tomllib" in set(imports(path.read_text("utf-8")))]
    assert users == ["kb.base.parsing"]


def shared_names(modules: Iterable[str]) -> set[str]:
    """Names of modules in more than one package; commands and pages aside."""
    parts = [module.rpartition(".") for module in modules if module not in LAYERS]
    names = [name for package, _, name in parts if package not in ("kb.cli", "kb.web")]
    return {name for name in names if names.count(name) > 1}


def test_modules_of_one_name_are_about_one_thing() -> None:
    assert shared_names(MODULES) == set(ONE_THING)


@pytest.mark.parametrize("module", MODULES)
def test_a_module_says_in_one_sentence_what_it_is_for(module: str) -> None:
    said = ast.get_docstring(ast.parse(MODULES[module].read_text("utf-8")))
    assert said, f"{module} has no docstring"
    first = said.partition("\n\n")[0].strip()
    assert first.endswith("."), f"{module}: its first paragraph is no sentence"
    assert "?" not in first, f"{module}: its first paragraph asks instead of telling"


def test_the_checks_of_this_file_can_fail() -> None:
    assert wrong_layer("kb.path.rules", "from kb.book import Book") == ["kb.path.rules imports kb.book"]
    assert wrong_layer("kb.cli.find", "from kb.web.site import page") == ["kb.cli.find imports kb.web.site"]
    assert wrong_library("kb.pack.solve", "import numpy\nimport threading") == ["numpy", "threading"]
    assert wrong_for_lookup(
        "kb.a", {"kb.a": "from kb.b import x", "kb.b": "import threading\nimport re"}
    ) == ["kb.b imports threading"]
    assert shared_names(["kb.cli.day", "kb.book.day", "kb.loop.wire", "kb.path.wire"]) == {"wire"}
    assert not wrong_for_lookup("kb.a", {"kb.a": "def f():\n    import whoosh"})
    assert circle({"kb.a": "from kb import b", "kb.b": "from kb.a import x", "kb.c": ""})
