"""Putting the service together: the one place where real parts are chosen. Nothing happens at import."""
