"""What does Jackfield know? A knowledge base of how a television's sound gets out of it.

The package is a house of floors; arrows of import point down only. See ``DEVELOPERS.md``.
"""

__version__ = "0.1.0"
