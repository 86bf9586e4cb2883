"""The words of the engine as frozen dataclasses, standard library only."""
