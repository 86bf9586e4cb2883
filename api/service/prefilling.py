"""Which settings of a card a value from the machine may stand for."""

from __future__ import annotations

from audit.nouns.quantity import Role
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card


def settings_for(rulebook: Rulebook, card: str, quantity: str) -> list[str]:
    """Names of a card's settings that end in a quantity; several where it has several such parts."""
    machine = rulebook.machines.get(card)
    if machine is None:
        return []
    names = on_card(machine, rulebook.vocabulary)
    return sorted(
        name for name, one in names.items() if name.rpartition(".")[2] == quantity and one.role is Role.SETTING
    )
