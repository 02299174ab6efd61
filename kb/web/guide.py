"""Serve the pages of the guide."""

from __future__ import annotations

from flask import Flask, url_for
from markdown_it import MarkdownIt
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from kb.base.guide import Page, pages
from kb.base.guide import page as guide_page
from kb.web.site import language, page


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/guide", "guide", topics)
    app.add_url_rule("/guide/<topic>", "guide_topic", one_topic)


def topics() -> AnyResponse:
    """The list of all pages."""
    return page("guide", title=language()("web/guide/title"), topics=pages(), text="")


def one_topic(topic: str) -> AnyResponse:
    """One page. Raises NotFound for a topic that has none."""
    found = guide_page(topic)
    return page("guide", title=found.title, topics=(), text=as_html(found))


def as_html(found: Page) -> Markup:
    """The page as HTML, its links leading to pages of this site; HTML in the text is shown as text."""

    def link(words: str, topic: str, anchor: str) -> str:
        return f"[{words}]({url_for('guide_topic', topic=topic)}{anchor})"

    html = MarkdownIt("commonmark", {"html": False}).enable("table").render(found.linked(link))
    # A wide table or a long command scrolls by itself, also by keyboard; the page does not.
    table = Markup('<div class="wide-part" tabindex="0" role="group" aria-label="{}"><table>')
    html = html.replace("<table>", table.format(language()("web/guide/table")))
    html = html.replace("</table>", "</table></div>").replace("<pre>", '<pre tabindex="0">')
    return Markup(html)  # noqa: S704  # made from files that came with Jackfield, HTML in them escaped
