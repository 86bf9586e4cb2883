"""A bearing that is watched."""

from audit.nouns.kind import Kind

KIND = Kind(name="bearing", families=("bearing",), meaning="A bearing whose heat and play are watched")
