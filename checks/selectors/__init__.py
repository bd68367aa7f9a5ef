"""Questions asked of the database, each with a known number of queries."""
