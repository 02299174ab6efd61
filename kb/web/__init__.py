"""Show the book on a phone behind the television.

A small web page over the same functions as the command line; ``kb.web.app.make_app`` builds it and
``kb.web.server.serve`` runs it. Needs the extra ``jackfield[web]``.
"""
