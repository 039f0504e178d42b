"""The forms of the pages on which the organisation sets how it judges."""
