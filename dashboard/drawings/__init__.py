"""Where the lines of the small charts go.  Nothing is judged here: figures that others worked out are placed."""
