"""Plan and judge a loop: wire, current, field, and readings against the standard.

The package is pure: it knows numbers and units. Without an extra it imports only the standard library. Its
modules:

- ``units``: read and show lengths
- ``decibels``: decibels as a ratio, and back
- ``sentences``: sentences for people, as keys and values
- ``geometry``: positions of wire and listeners
- ``standard``: limits and rules of IEC 60118-4
- ``field``: the field strength at the listeners
- ``spill``: the field outside the loop
- ``wire_layouts``: layouts of the wire that spill little
- ``wire``: resistance, inductance and voltage of the loop
- ``driver``: the current and voltage that a driver can give
- ``routes``: ways of laying wire, with fixings and cautions
- ``input_level``: the source's line level against the driver's input
- ``plan``: the needs of the room, and whether the driver meets them
- ``document``: that answer as JSON
- ``readings_file``: the content of a readings file
- ``verdict``: the measured values against the standard
- ``diagnose``: the place of a fault if measured and computed values differ
- ``metal``: the loss to metal that a trial loop shows
- ``next_step``: the next step
- ``tone``: test signals as WAV files
- ``wav_recording``: levels of a WAV recording (needs the extra ``jackfield[listen]``)
- ``listen``: recordings of one place as readings (the same extra)
- ``text_map``: the field in a terminal
- ``field_picture``: the field on paper (needs the extra ``jackfield[plot]``)
"""
