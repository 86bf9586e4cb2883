"""Reads what farm systems say into plain nouns. Nothing here knows a unit on record, a card or a crop card."""
