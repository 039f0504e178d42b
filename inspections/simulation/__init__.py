"""A workshop's book that never was, from the physical circuit: pure code without a database."""
