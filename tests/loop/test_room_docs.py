"""The examples in the room's documentation give what they say."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import kb.loop

MODULES = sorted(module.name for module in pkgutil.iter_modules(kb.loop.__path__, "kb.loop."))


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_run(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_the_room_lists_its_modules():
    for name in MODULES:
        assert f"``{name.rsplit('.', 1)[1]}``" in (kb.loop.__doc__ or "")
