"""The machines' door: it checks the form, calls a service or a query, and answers."""
