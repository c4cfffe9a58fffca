"""What we remember: one SQLite file, one thread that writes it, and read-only queries beside it."""
