"""What hangs together: groups in a list of pairs."""

from __future__ import annotations

import numpy as np

from ..arrays import Ints


def joined(count: int, pairs: Ints) -> Ints:
    """Return (count,) the lowest number each of `count` things hangs together with by (k, 2) pairs.

    Source: Shiloach & Vishkin, An O(log n) parallel connectivity algorithm, 1982: hang the
    higher root below the lower one, then shorten all ways to the roots.
    """
    root = np.arange(count)
    first, second = pairs.reshape(-1, 2).T
    while True:
        above, below = root[first], root[second]
        apart = above != below
        if not apart.any():
            return root
        first, second = first[apart], second[apart]
        above, below = above[apart], below[apart]
        np.minimum.at(root, np.maximum(above, below), np.minimum(above, below))
        while True:
            shorter = root[root]
            if (shorter == root).all():
                break
            root = shorter


def groups(count: int, pairs: Ints) -> Ints:
    """Return (count,) the number 0.. of the group each thing is in, by its lowest member."""
    number: Ints = np.unique(joined(count, pairs), return_inverse=True)[1].ravel()
    return number
