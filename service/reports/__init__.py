"""What the readings, tellings and answers of a span amount to: read, computed with the rules, nothing decided."""
