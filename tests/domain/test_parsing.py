"""What somebody handed in is read in one strict way, and nobody can make that dear."""

from __future__ import annotations

import pytest

from kb.base.errors import BadInput
from kb.base.parsing import json_of, toml_of

MANY = 2_000


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"a": 1, "a": 2}', "occurs twice"),
        ('[{"b": {"a": 1, "a": 1}}]', "occurs twice"),
        ("[NaN]", "NaN is no number"),
        ("[-Infinity]", "-Infinity is no number"),
        ("9" * 5_000, "digits"),
        ("[" * 100_000, "deeply nested"),
        ("{", "ends too early"),
        ('{"a": 1,', "ends too early"),
        ("[1, 2", "ends too early"),
        ('{"a": 1,}', "a comma before the end"),
        ("{a: 1}", "a name without double quotes"),
        ("[1 2]", "a missing comma"),
        ('{"a" 1}', "a missing colon"),
        ('{"a": "b}', "a text without its closing quote"),
        ('{"a": 1} 2', "more text after the end"),
    ],
)
def test_what_readers_of_json_disagree_on_is_refused(text: str, said: str) -> None:
    with pytest.raises(BadInput, match=r"visit\.json") as caught:
        json_of(text, "visit.json")
    assert said in str(caught.value)


def test_a_mistake_in_a_file_of_lines_is_named_with_its_line() -> None:
    with pytest.raises(BadInput, match=r"visit\.json, line 2: saw"):
        json_of('{\n "a": oops}', "visit.json", by_line=True)


@pytest.mark.parametrize(
    "text",
    [
        "a" + ".a" * MANY + " = 1",
        "a" + " . a" * MANY + " = 1",
        '"a"' + '."a"' * MANY + " = 1",
        "a" + f".{'long' * 20}" * MANY + " = 1",
        "[a" + ".a" * MANY + "]",
        "[[a" + ".a" * MANY + "]]",
        "x = {b = 1, a" + ".a" * MANY + " = 1}",
        '# """\na' + ".a" * MANY + ' = 1\n# """',
    ],
)
def test_a_key_of_parts_without_end_is_refused_however_it_is_written(text: str) -> None:
    """Each part costs the parser memory for all before it: 16,000 of them took 1.5 GB."""
    with pytest.raises(BadInput, match="a key of many parts"):
        toml_of(text, "jobs.toml")


def test_dots_in_what_is_said_are_no_parts_of_a_key() -> None:
    dots = "It hums. " * 100
    text = f'note = "{dots}"\nlong = """\n{dots}\n"""\nplain = \'{dots}\'  # {dots}\n"a.b" = 1.5\n'
    said = toml_of(text, "visit.toml")
    assert (said["note"], said["plain"], said["a.b"]) == (dots, dots, 1.5)


def test_a_key_that_is_there_twice_at_the_very_end_is_told_as_such() -> None:
    with pytest.raises(BadInput, match="a key that is there twice at line 2"):
        toml_of("a = 1\na = 2", "jobs.toml")
