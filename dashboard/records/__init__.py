"""Pages about the record itself: its history, its exceptions, whether it is whole, and one check as paper."""
