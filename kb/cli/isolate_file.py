"""What stands in an answers file and in the options, and how is the file kept?"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from kb.errors import BadInput, BookTrouble, described
from kb.given import open_plain

if TYPE_CHECKING:
    from kb.isolate import Model, State

_FILE_LIMIT: Final = 1_000_000  # bytes of an answers file


def saved(file: str | None, *, must_exist: bool) -> Mapping[str, Any] | None:
    """The answers file as parsed; None where there is none yet."""
    if file is None:
        return None
    if file != "-" and not Path(file).exists() and not must_exist:
        return None
    try:
        if file == "-":
            raw = sys.stdin.buffer.read(_FILE_LIMIT + 1)
        else:
            with open_plain(Path(file), f"--answers {file}") as source:
                raw = source.read(_FILE_LIMIT + 1)
    except OSError as trouble:
        expected = "an answers file that can be read, or --complaint to begin one"
        raise BadInput(
            f"--answers {file}", described(trouble.strerror or str(trouble)), expected
        ) from trouble
    if len(raw) > _FILE_LIMIT:
        raise BadInput(f"--answers {file}", described("a larger file"), f"at most {_FILE_LIMIT} bytes")
    try:
        data = json.loads(raw.decode("utf-8"))
    except UnicodeDecodeError as trouble:
        raise BadInput(
            f"--answers {file}", described(f"byte {trouble.start} is not UTF-8"), "JSON in UTF-8"
        ) from None
    except json.JSONDecodeError as trouble:
        raise BadInput(f"--answers {file}, line {trouble.lineno}", described(trouble.msg), "JSON") from None
    except RecursionError:
        raise BadInput(f"--answers {file}", described("lists within lists without end"), "JSON") from None
    if not isinstance(data, dict):
        raise BadInput(f"--answers {file}", type(data).__name__, "an object with complaint and answers")
    return data


def state_of(model: Model, saved: Mapping[str, Any] | None, asked: Mapping[str, Any], place: str) -> State:
    """The saved state with what the options add; what the options say of the path replaces what was saved."""
    from kb.isolate import state_from

    data: dict[str, Any] = dict(saved or {})
    if asked["complaint"]:
        data["complaint"] = asked["complaint"]
    elif saved is None:
        raise BadInput("--complaint", described("nothing"), f"one of {', '.join(model.complaints)}")
    if asked["make"]:
        data |= {"make": asked["make"], "model": asked["model"]}
    path = {key: asked[key] for key in ("signal", "items", "input") if asked[key]}
    if path and isinstance(data.get("path", {}), Mapping):
        data["path"] = {**data.get("path", {}), **path}
    state = state_from(model, data, place)
    for fault in asked["mended"]:
        state = state.mended(fault)
    for test, answer in asked["answers"]:
        state = state.answer(test, answer)
    state = state.excluding(*asked["without"])
    return state.fixed_by(asked["fixed"]) if asked["fixed"] else state


def pairs(said: tuple[str, ...]) -> list[tuple[str, str]]:
    pairs = []
    for one in said:
        test, equals, answer = one.partition("=")
        if not equals:
            raise BadInput("--answer", one, "TEST=ANSWER, such as red-glow=dark")
        pairs.append((test.strip(), answer.strip()))
    return pairs


def keeper(file: str | None) -> Callable[[State], None]:
    """Writes the state to the named file in one step; does nothing where no file was named."""
    if file is None:
        return lambda _: None
    place = Path(file)

    def keep(state: State) -> None:
        from kb.isolate import state_to

        part = ""
        try:
            handle, part = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                out.write(_document(state_to(state)))
                out.flush()
                os.fsync(out.fileno())
            Path(part).replace(place)
        except OSError as trouble:
            if part:
                with suppress(OSError):
                    Path(part).unlink()
            raise BookTrouble(f"--answers {file}: could not be written ({trouble.strerror})") from trouble

    return keep


def _document(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, indent=2) + "\n"
