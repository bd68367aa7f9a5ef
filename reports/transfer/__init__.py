"""The whole database as JSON Lines with its files, and back into an empty installation."""
