"""share: give findings to colleagues and take theirs, without what is private."""

from __future__ import annotations

from typing import Final

import click

from kb.cli.command import Group

#: Name -> (module under kb.cli, page of the guide), in the order of use.
PARTS: Final[dict[str, tuple[str, str]]] = {
    "out": ("share_files", "sharing"),
    "in": ("share_files", "sharing"),
    "bundles": ("share_bundles", "sharing"),
    "undo": ("share_bundles", "sharing"),
    "push": ("share_books", "sharing"),
    "pull": ("share_books", "sharing"),
    "review": ("share_review", "sharing"),
    "key": ("share_keys", "sharing"),
    "trust": ("share_keys", "sharing"),
}


@click.group("share", cls=Group, table=PARTS)
def share_command() -> None:
    """
    jackfield share out north.jsonl.gz --for "north team"
    jackfield share in south.jsonl.gz
    """
