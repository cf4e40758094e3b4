"""The fingerprint of what a nest depends on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence

from ..cloth.fabric import Fabric
from ..records import to_plain
from .piece import NestPiece
from .roll import Stock
from .settings import NestSettings

EFFORT = ("seconds", "seed", "chunk", "processes")  # change how long is searched, not for what


def nest_digest(
    pieces: Sequence[NestPiece], fabric: Fabric, stock: Stock, settings: NestSettings
) -> str:
    """Return the fingerprint of all a layout depends on, but for the effort of the search."""
    plain = {
        "pieces": [[piece.id, piece.count, _rings(piece)] for piece in pieces],
        "fabric": to_plain(fabric),
        "stock": to_plain(stock),
        "settings": {k: v for k, v in to_plain(settings).items() if k not in EFFORT},
    }
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()


def _rings(piece: NestPiece) -> list[list[tuple[float, ...]]]:
    rings = (piece.polygon.exterior, *piece.polygon.interiors)
    return [list(ring.coords) for ring in rings]
