"""Bring findings into a book and out of it: load, dump, corrections, backup and sharing.

Each question has a module of its own; importing this package loads nothing.
"""
