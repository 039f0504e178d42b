"""What the pages about one check share: the draft on the way to the record, its forms, its sentences."""
