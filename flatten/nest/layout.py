"""The nest as a result: where each piece lies, what is used, what is left, what it costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from shapely import Polygon
from shapely.affinity import affine_transform

from ..arrays import Floats
from ..records import from_plain, to_plain
from .geometry import laid
from .roll import Offcut

Method = Literal["simple", "searched"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One copy of a piece on the cloth.

    Its outline is mirrored about the warp first where `mirrored`, then turned by `angle_deg`
    about its own origin (counter-clockwise), then moved by (x_mm, y_mm). `kit` counts from 1,
    mirrored kits after the others.
    """

    piece: str  # NestPiece.id
    copy: int  # 1..count, in its kit
    kit: int
    x_mm: float
    y_mm: float
    angle_deg: float = 0.0
    mirrored: bool = False
    other_hand: bool = False  # it belongs to a mirrored kit
    turned_over: bool = False  # it is cut from the back of the cloth

    @property
    def note(self) -> str:
        """What must stand on the piece besides its name."""
        words = ["OTHER HAND"] * self.other_hand + ["TURN OVER"] * self.turned_over
        return ", ".join(words)

    def outline_on_cloth(self, outline: Polygon) -> Polygon:
        """Return the piece's outline where it lies."""
        return affine_transform(outline, self.matrix)

    @property
    def matrix(self) -> list[float]:
        """The move as shapely's [a, b, d, e, x, y]: x' = a x + b y + x, y' = d x + e y + y."""
        return laid(self.x_mm, self.y_mm, self.angle_deg, mirrored=self.mirrored)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One roll or offcut with what is cut from it; warp along +x, y from 0.

    `outline` is the cloth used: a roll up to the cut across it at `used_length_mm`, or the
    whole offcut with its warp turned to +x and its box's corner at (0, 0).
    """

    stock_id: str
    kind: Literal["roll", "offcut"]
    outline: tuple[tuple[float, float], ...]
    used_length_mm: float  # of a roll; 0 for an offcut
    selvedge_mm: float
    placements: tuple[Placement, ...]
    kept: tuple[tuple[str, float, float, float, float], ...] = ()  # new offcuts: id, x0, y0, x1, y1
    flaws: tuple[tuple[float, float, float], ...] = ()  # on the cloth used: x, y, radius

    @property
    def width_mm(self) -> float:
        """Extent across the warp."""
        return max(y for _, y in self.outline)

    @property
    def area_mm2(self) -> float:
        """Cloth used, selvedges counted in."""
        return float(Polygon(self.outline).area)


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """Where the cloth goes. Pieces + kept + waste = cloth, selvedges counted in as waste."""

    cloth_mm2: float  # taken from rolls and offcuts
    pieces_mm2: float  # cut area of all pieces
    kept_mm2: float  # new offcuts big enough to keep
    roll_length_mm: float  # taken from all rolls together
    cost: float  # of the roll length; offcuts were paid for when they were new

    @property
    def waste_mm2(self) -> float:
        """Cloth that is thrown away."""
        return self.cloth_mm2 - self.pieces_mm2 - self.kept_mm2

    @property
    def utilisation(self) -> float:
        """Pieces as a share of the cloth used, 0..1."""
        return self.pieces_mm2 / self.cloth_mm2


@dataclass(frozen=True, slots=True, kw_only=True)
class Nest:
    """All pieces of one cloth on the stock.

    `digest` is of everything the layout depends on but the effort; `seconds` and `seed` are
    the effort it has had. `notes` are sentences for the user, such as that the search could
    not run.
    """

    fabric: str
    sheets: tuple[Sheet, ...]
    account: Account
    method: Method
    digest: str
    seconds: float
    seed: int
    notes: tuple[str, ...] = ()

    @property
    def used_length_mm(self) -> float:
        """Roll length taken, over all rolls."""
        return self.account.roll_length_mm

    def new_offcuts(self) -> tuple[Offcut, ...]:
        """Return what is worth putting back on the shelf."""
        return tuple(
            Offcut(id=name, fabric=self.fabric, outline=_corners(x0, y0, x1, y1))
            for sheet in self.sheets
            for name, x0, y0, x1, y1 in sheet.kept
        )

    def to_plain(self) -> dict[str, Any]:
        """Return the nest as plain values for JSON."""
        plain: dict[str, Any] = to_plain(self)
        return plain

    @staticmethod
    def from_plain(data: Any, where: str = "Nest") -> Nest:
        """Return the nest written by `to_plain`; InputError where it is none."""
        return from_plain(Nest, data, where)


def _corners(x0: float, y0: float, x1: float, y1: float) -> Floats:
    from ..arrays import frozen_floats

    box = [(0.0, 0.0), (x1 - x0, 0.0), (x1 - x0, y1 - y0), (0.0, y1 - y0)]
    return frozen_floats("Offcut: outline", box, (4, 2))
