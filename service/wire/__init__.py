"""From bytes to readings. Pure: no input or output, no clock, no network; nothing here raises for bad input.

``decode.py`` is the door. It sorts a topic (``topics``), reads the bytes (``syntax``, ``bare``), resolves SenML
(``senml``, ``packs``) or applies a mapped source (``sources``, ``mapped``), brings every value to the unit we
keep (``units``) and asks whether it can be true (``plausible``).
"""
