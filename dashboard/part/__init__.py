"""What the page "Find the part" is made of: its forms, its words and lists, and what the person cannot reach."""
