"""The only part that speaks SQL. Functions are named for what they are for and take the caller's connection."""
