"""The ways to tell a person. Each takes a message and says what became of it; none raises for the network."""
