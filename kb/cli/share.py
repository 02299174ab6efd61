"""share: give findings to colleagues and take theirs, without what is private."""

from __future__ import annotations

from typing import Final

import click

from kb.cli.group import LazyGroup

#: Name -> (module under kb.cli, one line of help), in the order of use.
PARTS: Final[dict[str, tuple[str, str]]] = {
    "out": ("share_files", "Write findings for colleagues to a file (a bundle)."),
    "in": ("share_files", "Take bundles of colleagues in."),
    "bundles": ("share_bundles", "List the bundles that came in."),
    "undo": ("share_bundles", "Take back everything that came with a bundle."),
    "push": ("share_books", "Give findings to a shared book."),
    "pull": ("share_books", "Take findings from a shared book."),
    "review": ("share_review", "Review notes and doubtful texts, and release them or not."),
    "key": ("share_keys", "Make or show the key that signs your bundles."),
    "trust": ("share_keys", "Trust a colleague's key, or list the trusted keys."),
}


@click.group("share", cls=LazyGroup, table=PARTS, pages=dict.fromkeys(PARTS, "sharing"))
def share_command() -> None:
    """Exchange findings with colleagues. What is shared is about sets, not homes.

    Job references, people and drivers' names stay here. A note goes out only after somebody has read and
    released it (`share review`). A visit is held back if one of its texts looks like a phone number, an
    address or a person.

    Each part takes --json, --home and --store.
    """
