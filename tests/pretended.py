"""Pretend that a language has other sentences, so that a test sees which words no catalogue gives."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from kb.base import messages as catalogue


@contextmanager
def sentences(code: str, said: Mapping[str, Any], folder: Path) -> Iterator[pytest.MonkeyPatch]:
    """While this lasts, the language of this code says ``said``, whose files are in ``folder``."""
    areas: dict[str, dict[str, Any]] = {}
    for key, one in said.items():
        areas.setdefault(key.partition("/")[0], {})[key] = one
    for name, area in areas.items():
        (folder / f"{name}.json").write_text(json.dumps(area), "utf-8")
    real = catalogue.data_path

    def found(name: str) -> str | None:
        inside = name.startswith(f"messages/{code}/")
        return str(folder / Path(name).name) if inside else real(name)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(catalogue, "data_path", found)
        catalogue.area.cache_clear()
        yield patch
    catalogue.area.cache_clear()
