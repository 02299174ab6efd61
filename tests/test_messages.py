"""Sentences for people are in one catalogue per language, whole and in use, and not in the code."""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from kb.base import messages as catalogue
from kb.base.datafolder import data_path
from kb.base.messages import FORMS, LANGUAGES, DamagedCatalogue, Message, messages, text
from kb.base.parsing import json_of
from kb.catalogue import CautionCode, StepCode
from kb.path import DacCode, QuestionCode, RuledOutCode
from tests.test_plain_words import faults_of

KB = Path(__file__).resolve().parent.parent / "kb"
ENGLISH = messages()
OTHERS = [code for code in LANGUAGES if code != LANGUAGES[0]]
#: Names of words: the English ones are in ``kb/domain/words.py``.
NAMES = ("word/",)
#: Help of commands and words of click: their keys are made of names; tests/cli/test_help.py looks at them.
OF_HELP_TEXTS = ("help", "help/", "click/")
FILES = sorted(Path(data_path("messages") or "").rglob("*.json"))
AREAS = sorted({key.partition("/")[0] for code in LANGUAGES for key in messages(code)} - {"help"})
#: Packages whose sentences are all in the catalogue.
WITHOUT_SENTENCES = ("isolate", "pack", "path", "sheet", "web")
#: Modules of the other packages whose sentences are all in the catalogue.
SCREENS = [
    f"cli/{name}.py"
    for name in (
        "backup", "correct", "doctor", "dump", "history", "load", "merge", "restore", "share_books",
        "share_bundles", "share_files", "share_keys", "share_review", "undo", "withdraw",
    )
] + ["domain/marking.py"]  # fmt: skip
#: Literals that look like a sentence and are none.
NO_SENTENCES = {"name, words, unless", "complaint, tool, fault"}  # fields of a table
#: Errors of the tree in ``kb/base/errors.py``, and what else takes words of theirs.
OF_ERRORS = {
    "BadInput", "BookTooNew", "BookTrouble", "BookUnavailable", "Fields", "Interrupted", "JackfieldError",
    "MissingExtra", "Name", "NoBookYet", "NotFound", "Number", "Part", "PerhapsSaved", "Said", "Stated",
    "Whole", "bounded", "inside", "known", "listed", "need", "number", "open_plain", "read_object",
    "read_text", "toml_of", "unquoted", "whole", "within",
}  # fmt: skip
#: Words in errors that are no sentence: commands, options and names of fields.
OF_A_PROGRAM = re.compile(r"share (out|review)|--[a-z-]+( [A-Z]+)?|[a-z]+(, [a-z]+)+| or ")


# -- every language is whole -----------------------------------------------------------------------


def forms(message: Message) -> list[str]:
    return [message] if isinstance(message, str) else list(message.values())


def placeholders(sentence: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(sentence) if name is not None}


@pytest.mark.parametrize("code", OTHERS)
def test_a_language_has_the_keys_of_english(code: str) -> None:
    assert {key for key in messages(code) if not key.startswith(NAMES)} == set(ENGLISH)


@pytest.mark.parametrize("code", OTHERS)
def test_a_sentence_holds_the_same_values_in_every_language(code: str) -> None:
    other = messages(code)
    wrong = {
        key: (placeholders(one), placeholders(two))
        for key, message in ENGLISH.items()
        for one, two in zip(forms(message), forms(other[key]), strict=True)
        if placeholders(one) != placeholders(two)
    }
    assert wrong == {}


@pytest.mark.parametrize("code", OTHERS)
def test_a_sentence_is_really_translated(code: str) -> None:
    long = [key for key, message in ENGLISH.items() if len(re.sub(r"\{.*?\}", "", str(message)).split()) > 3]
    assert [key for key in long if messages(code)[key] == ENGLISH[key]] == []


def test_every_placeholder_is_a_plain_name() -> None:
    names = {
        name for code in LANGUAGES for one in messages(code).values() for said in forms(one)
        for name in placeholders(said)
    }  # fmt: skip
    assert [name for name in names if not name.isidentifier()] == []


def test_every_sentence_is_plain() -> None:
    assert {
        key: wrong
        for key, message in ENGLISH.items()
        for said in forms(message)
        if (wrong := faults_of(said))
    } == {}


# -- a key that is used exists, and a key that exists is used --------------------------------------


@cache
def parsed(source: str) -> ast.Module:
    """The syntax of a module, which several tests look through."""
    return ast.parse(source)


@cache
def literals(source: str) -> tuple[str, ...]:
    """Every string of a module as a pattern: its text, and for a value in it one part of a key."""
    inside, found = set(), []
    tree = parsed(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            inside |= {id(part) for part in node.values}
            parts = (
                re.escape(part.value) if isinstance(part, ast.Constant) else "[^/]+" for part in node.values
            )
            found.append("".join(parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inside:
            found.append(re.sub(r"\\{\w+\\}", "[^/]+", re.escape(node.value)))
    return tuple(found)


def is_key(pattern: str) -> bool:
    return re.match(rf"(?:{'|'.join(AREAS)})/[a-z0-9\[]", pattern) is not None and " " not in pattern


def used() -> set[str]:
    """Patterns of all keys in code, templates and scripts."""
    found = {one for path in KB.rglob("*.py") for one in literals(path.read_text("utf-8")) if is_key(one)}
    pages = [*KB.rglob("templates/*.html"), *KB.rglob("static/*.js")]
    texts = (path.read_text("utf-8") for path in pages)
    named = {key for page in texts for key in re.findall(r"[\"']([a-z]+/[a-z0-9/_-]+)[\"']", page)}
    return found | {re.escape(key) + ("[^/]+" if key.endswith("/") else "") for key in named if is_key(key)}


def put_together(key: str, patterns: set[str], words: set[str]) -> bool:
    """Is the key made of two parts: a pattern of the code, and an end that is written somewhere?"""
    cuts = [place for place, letter in enumerate(key) if letter == "/"]
    ends = [one for one in words if re.fullmatch(r"[\w\\-]+(?:/\[\^/\]\+)+", one)]

    def is_end(end: str) -> bool:
        return re.escape(end) in words or any(re.fullmatch(one, end) for one in ends)

    return any(
        (f"{re.escape(key[: cut + 1])}[^/]+" in patterns and is_end(key[cut + 1 :]))
        or (
            {re.escape(key[cut:]), f"[^/]+{re.escape(key[cut:])}"} & words
            and any(re.fullmatch(one, key[:cut]) for one in patterns)
        )
        for cut in cuts
    )


def path_keys() -> set[str]:
    """Keys that the codes and variants of a path answer can make."""
    kinds = {
        "step": StepCode, "caution": CautionCode, "ruled-out": RuledOutCode, "dac": DacCode,
        "question": QuestionCode,
    }  # fmt: skip
    words = {
        re.escape(one) for path in (KB / "path").glob("*.py") for one in literals(path.read_text("utf-8"))
    }
    plain = {f"path/{kind}/{code.value}" for kind, codes in kinds.items() for code in codes}
    return plain | {
        key for key in ENGLISH for code in plain
        if key.startswith(f"{code}/") and re.escape(re.escape(key.removeprefix(f"{code}/"))) in words
    }  # fmt: skip


def test_every_key_in_the_code_is_in_the_catalogue() -> None:
    known = {key for code in LANGUAGES for key in messages(code)}
    every = "\n".join(known)  # one search for each pattern instead of one match for each key
    lines = {pattern: pattern.replace("[^/]", r"[^/\n]") for pattern in used()}
    missing = [
        pattern for pattern, line in lines.items() if not re.search(f"^(?:{line})(?:/.*)?$", every, re.M)
    ]
    assert missing == []


def test_every_key_of_the_catalogue_is_used() -> None:
    patterns, of_path = used(), path_keys()
    every = re.compile("|".join(patterns))
    words = {one for path in KB.rglob("*.py") for one in literals(path.read_text("utf-8"))}
    known = {key for code in LANGUAGES for key in messages(code) if not key.startswith(OF_HELP_TEXTS)}
    unused = [key for key in known if not every.fullmatch(key) and key not in of_path]
    assert sorted(key for key in unused if not put_together(key, patterns, words)) == []


# -- no sentence in the code -----------------------------------------------------------------------

THREE_WORDS = re.compile(r"\b[A-Za-z][a-z]+,? [a-z]+,? [a-z]{2,}")


def sentences(source: str) -> Iterator[str]:
    """String literals that read like a sentence: three words in a row, but no docstring, error or label."""
    tree = parsed(source)
    passed: set[int] = set()
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Raise)
            or (isinstance(node, ast.ClassDef) and any(ast.unparse(base) == "Word" for base in node.bases))
            or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))
        ):
            passed |= {id(inner) for inner in ast.walk(node)}
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in passed
            and THREE_WORDS.search(node.value)
        ):
            yield node.value


@pytest.mark.parametrize("place", [*WITHOUT_SENTENCES, *SCREENS])
def test_no_sentence_for_people_is_in_the_code(place: str) -> None:
    where = KB / place
    found = {
        said: path.name
        for path in ([where] if where.is_file() else sorted(where.rglob("*.py")))
        for said in sentences(path.read_text("utf-8"))
        if said not in NO_SENTENCES
    }
    assert found == {}


def test_the_search_for_sentences_can_find_one() -> None:
    source = 'def f():\n    """Say what is there."""\n'
    assert list(sentences(source)) == []
    assert list(sentences(source + 'x = f"Plug the {item} into the driver."')) == [" into the driver."]


def words_of_errors(source: str) -> Iterator[str]:
    """String literals with a word and a blank among the arguments of our errors and of what they take."""
    for node in ast.walk(parsed(source)):
        if (
            not isinstance(node, ast.Call)
            or getattr(node.func, "attr", getattr(node.func, "id", "")) not in OF_ERRORS
        ):
            continue
        for given in (*node.args, *(one.value for one in node.keywords)):
            for inner in ast.walk(given):
                if isinstance(inner, ast.Constant) and isinstance(inner.value, str):
                    said = inner.value
                    if re.search(r"[a-z]{2}.* | .*[a-z]{2}", said) and not OF_A_PROGRAM.fullmatch(said):
                        yield said


def test_no_error_has_its_words_in_the_code() -> None:
    assert {
        f"{path.relative_to(KB)}: {said}"
        for path in sorted(KB.rglob("*.py"))
        for said in words_of_errors(path.read_text("utf-8"))
    } == set()


def test_the_search_for_words_of_errors_can_find_some() -> None:
    source = 'raise BadInput(inside(place, "name"), typed, Said("expected/name"))'
    assert list(words_of_errors(source)) == []
    source = 'raise NotFound(f"{place}: is missing")\nnumber(0, 1, "a chance")'
    assert list(words_of_errors(source)) == [": is missing", "a chance"]


def english_only(source: str) -> Iterator[str]:
    """Errors and places that ``str`` says in English, and places whose words are in the code."""
    tree = parsed(source)
    errors = {"BadInput", "JackfieldError", "NotFound", "BookTrouble", "BookUnavailable"}
    for node in ast.walk(tree):
        if isinstance(node, ast.ExceptHandler) and node.type and node.name:
            caught = {one.id for one in ast.walk(node.type) if isinstance(one, ast.Name)}
            if caught <= errors:
                yield from (
                    ast.unparse(one) for one in ast.walk(node) if ast.unparse(one) == f"str({node.name})"
                )
        if isinstance(node, ast.JoinedStr) and len(node.values) == 2:
            word, value = node.values
            named = isinstance(word, ast.Constant) and re.fullmatch(PLACES, str(word.value))
            if named and isinstance(value, ast.FormattedValue):
                yield ast.unparse(node)


#: A place in a file: a word and its number.
PLACES = r"(jack|job|line|position|row|visit) "


def test_no_error_or_place_is_said_in_english_alone() -> None:
    found = {
        f"{path.relative_to(KB)}: {said}"
        for path in sorted(KB.rglob("*.py"))
        for said in english_only(path.read_text("utf-8"))
    }
    assert found == set()


def test_the_search_for_english_alone_can_find_some() -> None:
    source = "try:\n    f(f'jack {n}')\nexcept BadInput as wrong:\n    print(str(wrong))\n"
    assert sorted(english_only(source)) == ["f'jack {n}'", "str(wrong)"]


# -- the reader ------------------------------------------------------------------------------------


def test_a_number_chooses_the_form_of_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        catalogue,
        "area",
        lambda name, language: {"cables": dict(zip(FORMS, ("{count} cable", "{count} cables"), strict=True))},
    )
    assert [text("cables", count=count) for count in (0, 1, 2)] == ["0 cables", "1 cable", "2 cables"]


@pytest.mark.parametrize(
    ("damaged", "named"),
    [
        ('{"a/b": 3}', "data/messages/en/a.json: a/b is no sentence"),
        ('{"a/b": ""}', "a/b is no sentence"),
        ('{"a/b": {"one": "x"}}', "a/b is no sentence"),
        ('{"a/b": {"one": "x", "other": ""}}', "a/b is no sentence"),
        ("[]", "data/messages/en/a.json"),
        ('{"a/b": "x"', "data/messages/en/a.json"),
        (None, "data/messages/en/a.json: it is missing"),
    ],
)
def test_a_damaged_catalogue_is_named_with_its_key(
    damaged: str | None, named: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    file = tmp_path / "a.json"
    if damaged is not None:
        file.write_text(damaged)
    monkeypatch.setattr(catalogue, "data_path", lambda name: str(file) if damaged is not None else None)
    with pytest.raises(DamagedCatalogue, match=re.escape(named)):
        catalogue.area.__wrapped__("a")


@pytest.mark.parametrize("file", FILES, ids=lambda file: f"{file.parent.name}/{file.name}")
def test_a_file_has_each_key_once_and_only_those_that_begin_with_its_name(file: Path) -> None:
    held = json_of(file.read_text("utf-8"), file.name)
    assert {key.partition("/")[0] for key in held} <= {file.stem}


def test_every_language_has_the_same_files() -> None:
    """English has an empty file of words: its own are where the things are defined."""
    names = [{file.name for file in FILES if file.parent.name == code} for code in LANGUAGES]
    assert names == [names[0]] * len(LANGUAGES)
