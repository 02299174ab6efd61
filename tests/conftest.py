"""Settings for all tests: a short default for property tests, a long mode on request."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

from tests.watched import watch

watch()
LONG = os.environ.get("JACKFIELD_LONG") == "1"

settings.register_profile(
    "short", max_examples=50, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("long", max_examples=2000, deadline=None)
settings.load_profile("long" if LONG else "short")
