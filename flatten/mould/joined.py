"""What hangs together: groups in a list of pairs."""

from __future__ import annotations

import numpy as np

from ..arrays import Ints


def groups(count: int, pairs: Ints) -> Ints:
    """Return (count,) the number 0.. of the group each thing is in; (k, 2) `pairs` are joined."""
    root = np.arange(count)
    if not len(pairs):
        return root
    first, second = pairs[:, 0], pairs[:, 1]
    while True:  # hang the higher root below the lower one, then shorten all ways to the roots
        above, below = root[first], root[second]
        apart = above != below
        if not apart.any():
            number: Ints = np.unique(root, return_inverse=True)[1].ravel()
            return number
        first, second = first[apart], second[apart]
        above, below = above[apart], below[apart]
        np.minimum.at(root, np.maximum(above, below), np.minimum(above, below))
        while True:
            shorter = root[root]
            if (shorter == root).all():
                break
            root = shorter
