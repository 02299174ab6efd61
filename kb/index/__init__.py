"""Find the set that is meant and the notes that match, from an index derived from the book.

``Index`` keeps keys of makes and models in a derived SQLite file and the words of findings in Whoosh, both at
one revision of the store. A query for a model imports neither Whoosh nor SQLAlchemy.
"""

from kb.index.entry import Answer, Filters, IndexBroken, Match, SetEntry
from kb.index.index import Index
from kb.index.reader import Reader

__all__ = ["Answer", "Filters", "Index", "IndexBroken", "Match", "Reader", "SetEntry"]
