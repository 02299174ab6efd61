"""Draw a jack on the page."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from functools import cache

from markupsafe import Markup

from kb.domain.words import Form


@cache
def sign(form: Form) -> Markup:
    """The sign of a form as SVG, for the eye only: its name is next to it in words."""
    return _drawn(form, "svg", {"class": "sign", "aria-hidden": "true"})


@cache
def symbol(form: Form) -> Markup:
    """The sign of a form, drawn once for all places of a page that use it (``use_sign``)."""
    return _drawn(form, "symbol", {"id": f"sign-{form.value}"})


def use_sign(form: Form) -> Markup:
    """The sign of a form on a page that has its ``symbol``."""
    return Markup('<svg class="sign" aria-hidden="true"><use href="#sign-{}"/></svg>').format(form.value)


def _drawn(form: Form, tag: str, about: dict[str, str]) -> Markup:
    from kb.sheet.jack_shapes import SIZE, draw_sign

    root = ET.Element(tag, {"viewBox": f"0 0 {SIZE:g} {SIZE:g}", **about})
    draw_sign(root, form)
    return Markup(ET.tostring(root, encoding="unicode"))  # noqa: S704  # drawn here, from no text of anybody
