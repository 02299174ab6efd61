"""Find signs that a text is about a private home, so that a person checks it.

No rule finds every name, so a person sees each note before it leaves the book.

>>> signs("ask Mrs Alder, 0555 010 2233, or m@alder.example"), signs("menu, digital output: PCM")
(('person', 'phone number', 'mail address'), ())
"""

from __future__ import annotations

import re
from typing import Final

_STREETS: Final = (
    "street|st|road|rd|lane|ln|avenue|ave|drive|dr|close|court|ct|crescent|terrace|square|boulevard|"
    r"grove|gardens|hill|mews|walk|parkway|pkwy|highway|hwy|(?<!the )(?<!this )(?<!that )(?<!half )way"
)
_ABROAD: Final = (
    "straße|strasse|str\\.|straat|gatan|gade|vej|weg|gasse|platz|allee|damm|ufer|chaussee|laan|katu"
)
_BEFORE: Final = (
    r"rue|chemin|impasse|quai|calle|via|avenida|avda\.?|paseo|camino|avenue|piazza|plaza|place|ulica|ul\."
)

#: By kind, common practice of those who clear text of personal data.
_SIGNS: Final[tuple[tuple[str, re.Pattern[str]], ...]] = (
    ("person", re.compile(r"\b(mr|mrs|ms|miss|dr|prof|herr|frau|mme|sig|sra?|señora?)\b\.?\s+\w", re.I)),
    ("person", re.compile(r"\bM\.\s+[A-Z]\w")),
    (
        "phone number",
        re.compile(
            r"(?<![\w.])(?:\+|\(?\d)(?:[ ().\-/]{0,2}\d){6,14}(?!\w)"
            r"|\b(?:tel|tél|telf|fon|phone|call)\b[.:]?\s*\d(?:[ .\-/]?\d){4,}",
            re.I,
        ),
    ),
    (
        "mail address",
        re.compile(
            r"[\w.+\-]{1,64}\s?(?:@|\(at\)|\[at\])\s?[\w\-]{1,63}(?:\.|\s?\(dot\)\s?)\w{2,}"
            r"|\bat\s[\w\-]{1,63}\sdot\s\w{2,}",
            re.I,
        ),
    ),
    (
        "street address",
        re.compile(
            rf"\b\d{{1,5}}[a-z]?,?\s+(?:[\w'’.\-]+\s+){{1,3}}(?:{_STREETS})\b"
            rf"|\b[\w\-]*(?:{_ABROAD})\s?\d{{1,4}}\s?[a-z]?\b"
            rf"|\b(?:{_BEFORE})\s+(?:[\w'’.\-]+,?\s+){{0,4}}\d{{1,4}}\b"
            r"|\b\d{1,5}[a-z]?,?\s+(?-i:The(?:\s+[A-Z][a-z]+){1,2})(?=\s*(?:[,.;)]|$))"  # 7 The Green
            r"|\bc/\s?(?:[\w'’.\-]+,?\s+){1,4}\d{1,4}\b"
            r"|\bp\.?\s?o\.?\s?box\s+\d"
            rf"|\b(?:{_BEFORE})\s+(?:de|du|des|la|del|della)\b",
            re.I,
        ),
    ),
    (
        "room or flat",
        re.compile(
            r"\b(?:room|flat|apartment|apt|suite|unit|zimmer)\s+(?:no\.?\s*)?\d"
            r"|\b\d{1,2}(?:st|nd|rd|th)\s+floor\b",
            re.I,
        ),
    ),
    (
        "postal code",
        re.compile(
            r"\b[A-Z]{1,2}\d[A-Z\d]?\s\d[A-Z]{2}\b|\b[A-Z]{2}\s\d{5}(?:-\d{4})?\b"
            r"|\b\d{5}\s[A-ZÄÖÜÉ][a-zäöüéè]{2}"  # German, French and Spanish: before the town
        ),
    ),
    ("web address", re.compile(r"\bhttps?://|\bwww\.", re.I)),
)
#: Dates, and addresses in a network.
_DATE: Final = re.compile(r"\b(?:19|20)\d\d-\d\d-\d\d\b|(?<![\d.])\d{1,3}(?:\.\d{1,3}){3}(?!\.?\d)")
_SHOWN: Final = 5000


def signs(said: str) -> tuple[str, ...]:
    """Return kinds of personal data that the text seems to hold; () if it looks like the trade."""
    plain = _DATE.sub(" ", said[:_SHOWN])
    return tuple(dict.fromkeys(kind for kind, sign in _SIGNS if sign.search(plain)))
