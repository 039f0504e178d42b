"""The forms of the pages about test meters."""
