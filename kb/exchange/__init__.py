"""How do findings get into a book and out of it: load, dump, corrections, backup, sharing?

Each question has a module of its own; importing this package loads nothing.
"""
