"""Memory that is freed is kept for the next array instead of being handed back to the system.

The C library of Linux hands back what is freed at the end of its heap, and every block above a
threshold, only to ask for as much again for the next array; each page of that is a fault, and a
drape makes thousands. The threshold rises to the largest block that was ever freed (up to 32 MB;
mallopt(3), M_MMAP_THRESHOLD), and what is kept to twice as much. So one large block that comes and
goes, untouched, is all it takes. Elsewhere it does nothing.
"""

from __future__ import annotations

import numpy as np

KEPT_BYTES = 31 << 20


def keep_freed() -> None:
    """Let the C library keep up to twice `KEPT_BYTES` of freed memory."""
    np.empty(KEPT_BYTES, np.uint8)
