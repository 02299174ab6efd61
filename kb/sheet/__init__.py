"""Make the sheet for client and file, the tag and the drawings.

``layout`` says what goes where, for the terminal and for pictures alike; ``drawing`` and ``fieldmap`` draw
it as SVG; ``page`` makes the sheet, ``tag`` the small label. Nothing is imported here: a lookup in the
terminal that draws a panel needs neither templates nor pictures.
"""
