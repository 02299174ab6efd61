"""Parse JSON and TOML strictly: one reader for every file.

JSON on which readers disagree is refused, so that no value is misread: a key that occurs
twice, NaN and Infinity (RFC 8259, sections 4 and 6), numbers and nesting without end.

>>> json_of('{"make": "Norwell"}', "visit.json")
{'make': 'Norwell'}
>>> json_of('{"make": "a", "make": "b"}', "visit.json")
Traceback (most recent call last):
...
kb.base.errors.BadInput: visit.json: saw 'make' occurs twice, expected JSON
"""

from __future__ import annotations

import json
import re
from typing import Any, Final

from kb.base.errors import BadInput, BookTrouble, inside
from kb.base.messages import Said, Wording


def json_of(text: str, place: Wording, *, by_line: bool = False) -> Any:
    """The JSON value in ``text``; ``by_line``: it has lines, so that a mistake is named with its own.

    Raises BadInput.
    """
    try:
        return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_once)
    except RecursionError:
        raise BadInput(place, Said("seen/nested-json"), Said("expected/flat-object")) from None
    except json.JSONDecodeError as wrong:
        where = inside(place, Said("place/line", number=wrong.lineno)) if by_line else place
        raise BadInput(where, _json_fault(wrong), "JSON") from None
    except _Refused as refused:
        raise BadInput(place, refused.args[0], "JSON") from None
    except ValueError:  # a number of more digits than Python reads
        raise BadInput(place, Said("seen/json/number"), "JSON") from None


def stored_json(text: str, place: Wording) -> Any:
    """The JSON value in a text of the book, which another program may have damaged. Raises BookTrouble."""
    try:
        return json_of(text, place)
    except BadInput as wrong:
        raise BookTrouble(Said("error/stored-json", place=place, why=wrong.seen)) from None


#: What Python's reader of JSON finds, by the beginning of its message.
_JSON_FAULTS: Final = {
    "Expecting value": "value",
    "Expecting ',' delimiter": "comma",
    "Expecting ':' delimiter": "colon",
    "Expecting property name": "name",
    "Extra data": "extra",
    "Illegal trailing comma": "last-comma",
    "Invalid control character": "control",
    "Invalid \\": "escape",
    "Unexpected UTF-8 BOM": "mark",
    "Unterminated string": "text",
}


def _json_fault(wrong: json.JSONDecodeError) -> Said:
    key = next((key for start, key in _JSON_FAULTS.items() if wrong.msg.startswith(start)), "other")
    rest = wrong.doc[wrong.pos :].lstrip()
    if key in ("value", "comma", "colon", "name") and not rest:
        key = "end"
    elif key == "name" and rest.startswith("}"):  # before Python 3.13 a name is missed there
        key = "last-comma"
    return Said(f"seen/json/{key}")


class _Refused(ValueError):
    """JSON on which readers disagree; the argument says why."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise _Refused(Said("seen/occurs-twice", key=twice[:40]))
    return found


def _no_constant(name: str) -> None:
    raise _Refused(Said("seen/no-json-number", name=name))


_PARTS: Final = 30  #: of a dotted key; each costs the parser memory for all before it
#: Strings and comments (toml.io, v1.0.0), in which a dot parts nothing.
_SAID: Final = r'"""(?:[^\\]|\\.)*?"""|\'\'\'.*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*'
_BETWEEN_KEYS: Final = r"[={},\[\]\n]"


def toml_of(text: str, place: Wording, expected: Wording = "TOML") -> dict[str, Any]:
    """The tables in a TOML ``text``; ``expected`` says what else is valid there. Raises BadInput."""
    import tomllib  # a cold look-up reads no TOML

    if _has_endless_key(text):
        raise BadInput(place, Said("seen/key-of-many-parts"), Said("expected/keys-of-few-parts"))
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise BadInput(place, Said("seen/nested-toml"), Said("expected/flat-tables")) from None
    except ValueError as wrong:  # no TOML, or a number of more digits than Python reads
        raise BadInput(place, _toml_fault(str(wrong), text), expected) from None


def _toml_fault(said: str, text: str) -> Said:
    at = re.search(r"\(at line (\d+), column (\d+)\)", said)
    if said.startswith(("Cannot overwrite", "Cannot declare", "Duplicate", "Cannot mutate")):
        return Said("seen/toml/twice", line=at[1] if at else text.count("\n") + 1)
    if at is None:
        early = said.endswith("(at end of document)")
        return Said("seen/toml/end" if early else "seen/json/number")
    line = text.split("\n")[int(at[1]) - 1]
    comma = re.search(r"=\s*([-+]?\d+,\d+)\s*(?:[,}#\r]|$)", line)
    if comma:
        return Said("seen/toml/comma", line=at[1], number=comma[1])
    if re.match("[“”„‘’«»]", line[int(at[2]) - 1 :]):
        return Said("seen/toml/quotes", line=at[1])
    return Said("seen/toml/other", line=at[1], column=at[2])


def _has_endless_key(text: str) -> bool:
    # A key lies on one line; only a line with that many dots is worth patterns that are slow to compile.
    if all(line.count(".") < _PARTS for line in text.split("\n")):
        return False
    bare = re.sub(_SAID, "", text, flags=re.DOTALL)
    return any(key.count(".") >= _PARTS for key in re.split(_BETWEEN_KEYS, bare))
