"""Plan and judge a loop: wire, current, field, and readings against the standard.

The room is pure: it knows numbers and units, and imports the standard library only. Its modules:

- ``units``: what length did the installer mean?
- ``geometry``: where does the wire lie, and where do people listen?
- ``field``: how strong is the field there?
- ``wire``: what resistance, inductance and voltage does the loop ask of a driver?
- ``driver``: what can a driver give?
- ``routes``: how is the wire laid, with what, and what is to be minded?
- ``levels``: is the source's line level enough for the driver's input?
- ``plan``: what does this room need, and does the driver manage it?
- ``document``: how does that answer look to a program?
- ``measured``: what does a readings file say?
- ``readings``: do the measured values meet the standard?
- ``diagnose``: if not, where does the fault lie?
- ``advice``: and what is to be done next?
- ``sketch``: how does the field look in a terminal?
- ``picture``: how does the field look on paper? (needs the extra ``jackfield[plot]``)
"""
