"""What inspections decides and writes: verdicts, the record, defects, the night's work."""
