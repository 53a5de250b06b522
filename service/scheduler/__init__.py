"""What happens by itself, at intervals. Each tick asks what is due; none remembers anything."""
