"""Draw a jack on the page."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from functools import cache

from markupsafe import Markup

from kb.domain.words import Form


@cache
def sign(form: Form) -> Markup:
    """The sign of a form as SVG, for the eye only: its name is next to it in words."""
    from kb.sheet.jack_shapes import SIZE, draw_sign

    root = ET.Element("svg", {"viewBox": f"0 0 {SIZE:g} {SIZE:g}", "class": "sign", "aria-hidden": "true"})
    draw_sign(root, form)
    return Markup(ET.tostring(root, encoding="unicode"))  # noqa: S704  # drawn here, from no text of anybody
