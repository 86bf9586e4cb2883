"""One module a format; each defines FORMAT."""
