"""From a notice to a person: who, by which way, how often, and what came of it."""
