"""Show the book to somebody with a phone behind the television.

A small web page over the same rooms as the command line; ``kb.web.app.make_app`` builds it and
``kb.web.server.serve`` runs it. Needs the extra ``jackfield[web]``.
"""
