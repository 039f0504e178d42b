"""What comes in, checked for types and presence, and what goes out."""
