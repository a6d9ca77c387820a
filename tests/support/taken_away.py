"""Takes values away from made queens, so that their records have gaps."""

from __future__ import annotations

import random
from collections.abc import Sequence


def without_some(made: list[dict], names: Sequence[str], share: float) -> list[dict]:
    """Take each named value away from a share of the queens, at random; give them."""
    chance = random.Random(7)
    for queen in made:
        for name in names:
            if chance.random() < share:
                queen[name] = None
    return made
