"""The people's door: it reads and calls services, and computes nothing."""
