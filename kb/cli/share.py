"""share: give findings to colleagues and take theirs, without what is private."""

from __future__ import annotations

from typing import Final

import click

from kb.cli.group import LazyGroup

#: Name -> (module under kb.cli, one line of help), in the order of use.
PARTS: Final[dict[str, tuple[str, str]]] = {
    "out": ("share_files", "Write findings to a file for colleagues (a bundle)."),
    "in": ("share_files", "Take in bundles of colleagues."),
    "bundles": ("share_bundles", "List the bundles that came in."),
    "undo": ("share_bundles", "Take back all that came with a bundle, or bring it back."),
    "push": ("share_books", "Give findings to a shared book."),
    "pull": ("share_books", "Take findings from a shared book."),
    "review": ("share_review", "Look at notes and doubtful texts, and release them or not."),
    "key": ("share_keys", "Make or show the key by which colleagues know your bundles."),
    "trust": ("share_keys", "Say whose key is trusted; list them."),
}


@click.group("share", cls=LazyGroup, table=PARTS, pages=dict.fromkeys(PARTS, "sharing"))
def share_command() -> None:
    """Give findings to colleagues and take theirs. What is shared is about sets, not homes.

    Job references, people, drivers' names and client words stay here. A note goes out only when
    somebody has read it and released it (`share review`). Visits whose marks, settings or items
    look like a phone number, an address or a person are held back until then.

    Each part takes --json, --home and --store.
    """
