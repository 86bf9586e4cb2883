"""Kinds of shaft: one module each, found by being here."""
