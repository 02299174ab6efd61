"""Open the book: find a set, show it, connect it, record it.

One object ties store, index and evidence together:

    with Book.open(home) as book:
        book.record(visits)
        found = book.find("nv40-210")
"""

from kb.book.answers import Found, FoundSet, Searcher, SetView, best_line
from kb.book.book import Book, derived

__all__ = ["Book", "Found", "FoundSet", "Searcher", "SetView", "best_line", "derived"]
