"""A real server process, spoken to over real sockets."""
