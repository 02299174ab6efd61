"""Read and keep the answers file of the fault search."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from kb.base.atomic import MINE
from kb.base.errors import NOTHING, BadInput, Stated, kind_of
from kb.base.inputfiles import read_text
from kb.base.messages import Said, Wording, one_of
from kb.base.parsing import json_of
from kb.base.text import visible
from kb.cli.outputfile import write_out

if TYPE_CHECKING:
    from kb.isolate import Model, State

_FILE_LIMIT: Final = 1024 * 1024  # bytes of an answers file


def _named(file: Wording) -> Wording:
    return Said("place/option-of", option="--answers", what=file)


def saved(file: str | None, *, must_exist: bool) -> Mapping[str, Any] | None:
    """The answers file as parsed; None if there is none yet."""
    if file is None:
        return None
    if file != "-" and not Path(file).exists():
        if must_exist:
            expected = Said("do/give-answers-or-complaint")
            raise BadInput(_named(file), Stated("error/file-not-found"), expected)
        return None
    try:
        raw, place = read_text(file, _FILE_LIMIT, "JSON")
        data = json_of(raw, place, by_line=True)
    except BadInput as mistake:
        raise BadInput(_named(mistake.place), mistake.seen, mistake.expected) from None
    if not isinstance(data, dict):
        raise BadInput(
            _named(file),
            kind_of(data),
            Said("expected/object-with", fields="complaint", last="answers"),
        )
    return data


def state_of(
    model: Model, saved: Mapping[str, Any] | None, asked: Mapping[str, Any], place: Wording
) -> State:
    """The saved state with what the options add; what the options say of the path replaces what was saved."""
    from kb.isolate import state_from

    data: dict[str, Any] = dict(saved or {})
    if asked["complaint"]:
        data["complaint"] = model.complaint_named(asked["complaint"])
    elif saved is None:
        raise BadInput("--complaint", NOTHING, one_of(model.complaints))
    if asked["make"]:
        data |= {"make": asked["make"], "model": asked["model"]}
    if asked["job"]:
        data["job"] = asked["job"]
    path = {key: asked[key] for key in ("signal", "items", "input") if asked[key]}
    if path and isinstance(data.get("path", {}), Mapping):
        data["path"] = {**data.get("path", {}), **path}
    state = state_from(model, data, place)
    for fault in asked["mended"]:
        state = state.repaired(fault)
    for test, answer in asked["answers"]:
        state = state.answer(test, answer)
    state = state.excluding(*asked["without"])
    return state.fixed_by(asked["fixed"]) if asked["fixed"] else state


def pairs(said: tuple[str, ...]) -> list[tuple[str, str]]:
    pairs = []
    for one in said:
        test, equals, answer = one.partition("=")
        if not equals:
            raise BadInput("--answer", one, Said("expected/test-and-answer"))
        pairs.append((test.strip(), answer.strip()))
    return pairs


def keeper(file: str | None) -> Callable[[State], None]:
    """Writes the state to the named file in one step; does nothing if no file was named."""
    if file is None:
        return lambda _: None

    def keep(state: State) -> None:
        from kb.isolate import state_to

        write_out(file, json.dumps(state_to(state), ensure_ascii=False, indent=2) + "\n", "--answers", MINE)

    return keep


def line_of(state: State, file: str | None, *, recorded: bool) -> str:
    """The command that goes on from this state, from the answers file if there is one."""
    from kb.isolate import state_to

    if file:
        words = ["--answers", file]
    else:
        said = state_to(state)
        words = [said[key] for key in ("make", "model") if key in said]
        words += ["--complaint", state.complaint, *(["--job", state.job] if state.job else [])]
        path = said.get("path", {})
        words += [word for key in ("signal", "input") if key in path for word in (f"--{key}", path[key])]
        several = {"items": path.get("items", ()), "without": state.without, "mended": state.mended_faults}
        several["answer"] = [f"{test}={answer}" for test, answer in state.answers]
        words += [word for key, all_of in several.items() for one in all_of for word in (f"--{key}", one)]
    return visible(shlex.join(["jackfield", "isolate", *words, *(["--record"] if recorded else [])]))
