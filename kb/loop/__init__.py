"""Plan and judge a loop: wire, current, field, and readings against the standard.

The package is pure: it knows numbers and units, and imports the standard library only. Its modules:

- ``units``: read and show lengths
- ``sentences``: what is said to people, as keys and values
- ``geometry``: where the wire lies and where people listen
- ``standard``: limits and rules of IEC 60118-4
- ``field``: the field strength there
- ``spill``: the field outside the loop
- ``wire``: resistance, inductance and voltage of the loop
- ``driver``: what a driver can give
- ``routes``: ways of laying wire, with fixings and cautions
- ``input_level``: the source's line level against the driver's input
- ``plan``: what the room needs, and whether the driver manages it
- ``document``: that answer as JSON
- ``readings_file``: what a readings file says
- ``verdict``: the measured values against the standard
- ``diagnose``: where the fault lies if they differ
- ``next_step``: what to do next
- ``tone``: test signals as WAV files
- ``text_map``: the field in a terminal
- ``picture``: the field on paper (needs the extra ``jackfield[plot]``)
"""
