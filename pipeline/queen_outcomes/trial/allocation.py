"""A random list of arms: permuted blocks inside each stratum.

A stratum's list depends on the seed and the stratum's name alone, so that a stratum
added, left out or moved changes no other list.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from queen_outcomes.base.errors import UsageError


@dataclass(frozen=True)
class Place:
    """One place of the list.

    ``place`` counts from 1 within the stratum, ``block`` too; ``stratum`` and ``arm``
    are names.
    """

    stratum: str
    place: int
    block: int
    arm: str


def stratum_name(graft_batch: str, semen_batch: str) -> str:
    """Name the stratum of a graft batch and a semen batch."""
    return f"{graft_batch} x {semen_batch}"


def permuted_blocks(
    strata: Mapping[str, int], arms: Mapping[str, int], block_size: int, seed: int
) -> tuple[Place, ...]:
    """Give every queen of every stratum an arm, in blocks that hold the ratio.

    Parameters
    ----------
    strata : mapping
        Name -> queens.
    arms : mapping
        Arm -> its part of the ratio; ``{"A": 2, "B": 1}`` gives two to one.
    block_size : int
        A multiple of the ratio's sum.
    seed : int
        Above or equal to 0; written on the sheet, it gives the same list again.

    Returns
    -------
    tuple of Place
        By stratum's name and place. The last block of a stratum may be cut short.

    Raises
    ------
    UsageError
        The ratio or the block size cannot be used.

    Notes
    -----
    Every order of a block is as likely. In two equal arms no arm is ever ahead by more
    than half a block. Matts JP, Lachin JM. Control Clin Trials 1988;9:327-344.
    """
    _refuse(arms, block_size, seed)
    names = sorted(arms)
    times = block_size // sum(arms.values())
    block = np.repeat(np.arange(len(names)), [arms[name] * times for name in names])
    places = []
    for stratum in sorted(strata):
        rng = np.random.default_rng([seed, zlib.crc32(stratum.encode())])
        queens = max(int(strata[stratum]), 0)
        blocks = -(-queens // block_size)
        drawn = [rng.permutation(block) for _ in range(blocks)]
        order = np.concatenate([*drawn, np.empty(0, int)])[:queens]
        places += [
            Place(stratum, at + 1, at // block_size + 1, names[arm])
            for at, arm in enumerate(order)
        ]
    return tuple(places)


def _refuse(arms: Mapping[str, int], block_size: int, seed: int) -> None:
    parts = sum(arms.values())
    if len(arms) < 2 or min(arms.values()) < 1:
        raise UsageError(
            "the arms cannot be drawn by lot",
            found=", ".join(f"{name} {arms[name]}" for name in sorted(arms)) or "none",
            expected="two arms or more, each with a whole number of at least 1",
        )
    if block_size < parts or block_size % parts:
        raise UsageError(
            "the block cannot hold the ratio of the arms",
            found=f"a block of {block_size}",
            expected=f"a multiple of {parts}",
            hint=f"take a block of {parts * max(1, round(block_size / parts))}",
        )
    if seed < 0:
        raise UsageError(
            "the seed cannot be used",
            found=str(seed),
            expected="0 or a whole number above",
        )
