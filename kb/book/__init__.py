"""The open book: what is known of a set, which set is meant, how is it connected?

One object ties store, index and evidence together:

    with Book.open(home) as book:
        book.record(visits)
        found = book.find("nv40-210")
"""

from kb.book.book import Book, Progress, derived
from kb.book.found import Found, FoundSet, Searcher, SetView

__all__ = ["Book", "Found", "FoundSet", "Progress", "Searcher", "SetView", "derived"]
