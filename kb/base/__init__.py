"""Provide what every other package needs: errors, text, clock, files and strict readers."""
