"""Let a finding tell of HDMI with the picture, of a computer's USB, and of a pink ring.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

from kb.store.migrations.steps import allow_words

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    signals = (
        "analog-line headphone optical coaxial arc earc speaker-level wireless hdmi usb acoustic not-audio"
    )
    allow_words("finding", "signal", signals)
    colours = "red white black yellow orange purple green blue grey brown tan pink"
    allow_words("finding", "colour", colours)
