"""Words, numbers and drawings for people. Values in, text or SVG out: nothing here reads or writes anything."""
