"""guide: show the pages of the guide in the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, Final, cast

import click

from kb.cli.command import command
from kb.cli.common import Session

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

    from kb.base.guide import Page

#: Longer lines are hard to read, however wide the terminal is.
_WIDEST: Final = 88


@command("guide")
@click.argument("topic", required=False)
def guide_command(session: Session, topic: str | None) -> int:
    """
    jackfield guide
    jackfield guide sharing
    """
    from kb.base.guide import page, pages

    if topic is None:
        found = pages()
        if session.as_json:
            session.json({"topics": [{"topic": one.name, "title": one.title} for one in found]})
            return 0
        widest = max(len(one.name) for one in found)
        for one in found:
            session.console.print(f"{one.name:<{widest}}  {one.title}")
        session.console.print(f"\n{session.language('cli/guide/read-one')}")
        return 0
    one = page(topic)
    if session.as_json:
        session.json({"topic": one.name, "title": one.title, "markdown": one.text})
        return 0
    width = min(session.console.width, _WIDEST)
    session.console.print(rendered(one, width), width=width)
    return 0


def rendered(page: Page, width: int) -> RenderableType:
    """A page for the terminal: headings at the left, typed lines indented and wrapped between words."""
    from rich.markdown import CodeBlock, Heading, Markdown, TableElement
    from rich.padding import Padding
    from rich.text import Text

    from kb.base.text import cells, wrapped
    from kb.cli.tables import fitted

    class Left(Heading):
        def __rich_console__(self, console: Any, options: Any) -> Any:
            self.text.justify = "left"
            self.text.style = "bold underline" if self.tag == "h1" else "bold"
            if self.tag != "h1":
                yield Text("")
            yield self.text

    class Typed(CodeBlock):
        def __rich_console__(self, console: Any, options: Any) -> Any:
            room = options.max_width - 2
            lines: list[str] = []
            for line in str(self.text).rstrip().splitlines():
                indent = " " * (len(line) - len(line.lstrip()))
                fits = cells(line) <= room
                lines += [line] if fits else wrapped(line, room, indent, f"{indent}    ")
            yield Padding(Text("\n".join(lines), style="cyan"), (0, 0, 0, 2))

    class Fitted(TableElement):
        def __rich_console__(self, console: Any, options: Any) -> Any:
            for table in super().__rich_console__(console, options):
                yield fitted(cast("Table", table), console, options.max_width)

    class Guide(Markdown):
        elements: ClassVar = {
            **Markdown.elements,
            "heading_open": Left,
            "table_open": Fitted,
            "fence": Typed,
            "code_block": Typed,
        }

    def link(words: str, topic: str, _anchor: str) -> str:
        return f"{words} (`jackfield guide {topic}`)"

    return Guide(page.linked(link), hyperlinks=False)
