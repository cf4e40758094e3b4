"""Layer lines of the printed mould: how deep, which way they run, and how to print with less grip.

Code: layer_ridges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Ints
from ..finding import Finding
from ..surface.mesh import MouldMesh
from .pull import axes, say_direction
from .rays import axes_across
from .settings import MouldSettings

FLAT = np.sin(np.radians(0.1))  # a face along the layers has no steps
STEEP_DEG = 30.0  # walls with less draft rub along the pull; others lift straight off
ACROSS_DEG = 45.0  # lines that run more across the pull than along it
TOLD_SHARE = 0.01
WORTH_A_CHANGE = 0.9  # of the grip there is now: a smaller gain is not worth another way to print
WORTH_SUPPORT = 0.5  # and supports on the lay-up leave scars: then the grip must halve at least
AS_GOOD = 1.05  # of build directions that grip alike, the one with least support


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ridges:
    """Layer lines on some faces.

    `depth_mm` (k,); `angle` (k,) radians between the lines and the way the part slides
    off the wall, 90 degrees: across, grips; NaN where there are no lines or no sliding;
    `grip_mm` (k,) the depth that catches: depth times the sine of the angle times the share
    of the pull along the wall.
    """

    depth_mm: Floats
    angle: Floats
    grip_mm: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildChoice:
    """One way to stand the mould on the printer, and what it costs.

    `grip_mm` mean over the lay-up area; support in cm2 of mould face, in all and on lay-up faces.
    """

    direction: tuple[float, float, float]
    grip_mm: float
    support_cm2: float
    support_on_layup_cm2: float
    height_mm: float


def ridge_depth(
    normals: Floats, build: Floats, layer_height_mm: float, bead_share: float
) -> Floats:
    """Return (k,) mm: the greater of stair depth and bead allowance, 0 on faces along the layers.

    The stair c = h |n . b| goes to zero on upright walls, where the round sides of the
    beads still leave grooves (up to h / 2 for half-round ones); hence the allowance.
    Source: cusp height, Dolenc & Makela, Slicing procedures for layered manufacturing
    techniques, Computer-Aided Design 26 (1994); bead allowance: common practice, no source.
    """
    along = np.abs(normals @ build)
    stair = np.maximum(layer_height_mm * along, bead_share * layer_height_mm)
    depth: Floats = np.where(_line_length(along) < FLAT, 0.0, stair)
    return depth


def measure_ridges(
    normals: Floats, pull: Floats, build: Floats, *, layer_height_mm: float, bead_share: float
) -> Ridges:
    """Measure layer lines on faces with unit `normals` (k, 3), released along `pull`.

    `pull` is (3,), or (k, 3) where each face has its own. Lines run along b x n; the part slides
    along the pull's share in the wall, p - (p . n) n.
    """
    slide = _Slide(normals, np.broadcast_to(pull, normals.shape))
    depth = ridge_depth(normals, build, layer_height_mm, bead_share)
    length = _line_length(np.abs(normals @ build))
    none = (length < FLAT) | (slide.rub < 1e-9)
    scale = np.where(none, 1, length * slide.rub)
    along, across = slide.along_lines(build) / scale, slide.across_lines(build) / scale
    angle = np.where(none, np.nan, np.arctan2(across, along))
    return Ridges(
        depth_mm=depth, angle=angle, grip_mm=np.where(none, 0, depth * slide.rub * across)
    )


class _Slide:
    """How the part slides off each wall, ready for many build directions.

    (b x n) . s = b . (n x s), and b x n turned by 90 degrees in the wall is b - (b . n) n, whose
    share along the slide s is b . s.
    """

    def __init__(self, normals: Floats, pulls: Floats) -> None:
        rise = np.einsum("ij,ij->i", normals, pulls)
        self.slide = pulls - rise[:, None] * normals
        self.turned = np.cross(normals, self.slide)
        self.rub = np.sqrt(np.einsum("ij,ij->i", self.slide, self.slide))

    def along_lines(self, build: Floats) -> Floats:
        """(k,) |b x n| |s| times the cosine of the angle between line and slide."""
        share: Floats = np.abs(self.turned @ build)
        return share

    def across_lines(self, build: Floats) -> Floats:
        """(k,) |b x n| |s| times its sine."""
        share: Floats = np.abs(self.slide @ build)
        return share


def _line_length(along: Floats) -> Floats:
    """|b x n| from |b . n|; exact enough down to FLAT."""
    length: Floats = np.sqrt(np.clip((1 - along) * (1 + along), 0, None))
    return length


def build_choices(
    mesh: MouldMesh, faces: Ints, pulls: Floats, settings: MouldSettings
) -> list[BuildChoice]:
    """Weigh build directions: the one set, the axes, along the pull, and eight across it.

    Parameters
    ----------
    faces : (k,) lay-up faces
    pulls : (k, 3) the pull of each

    Returns
    -------
    least grip first; among those that grip alike (5 %) least support on lay-up faces, then in all
    """
    pull: Floats = pulls.mean(axis=0)
    length = float(np.linalg.norm(pull))
    pull = pull / length if length > 0.1 else pulls[0]  # opposite pulls: take one of them
    turn = np.arange(8) * np.pi / 4
    around = np.column_stack([np.cos(turn), np.sin(turn)]) @ axes_across(pull)
    tried = np.concatenate(
        [settings.build_direction[None], axes(), pull[None], -pull[None], around]
    )
    different = [0]
    for one in range(1, len(tried)):
        if (tried[different] @ tried[one]).max() < 1 - 1e-6:
            different.append(one)
    slide = _Slide(mesh.normals[faces], pulls)
    choices = [_choice(mesh, faces, slide, tried[one], settings) for one in different]
    least = min(choice.grip_mm for choice in choices)
    step = max(least * (AS_GOOD - 1), 1e-4)  # 0.1 um: no one can tell

    def order(choice: BuildChoice) -> tuple[float, ...]:
        return (
            np.floor((choice.grip_mm - least) / step),
            round(choice.support_on_layup_cm2, 3),
            round(choice.support_cm2, 3),
            round(choice.height_mm, 3),
        )

    return sorted(choices, key=order)


def check_ridges(
    areas: Floats,
    draft: Floats,
    ridges: Ridges,
    choices: list[BuildChoice],
    settings: MouldSettings,
    faces: Ints,
) -> list[Finding]:
    """Report walls with layer lines across the pull, and the build direction with less grip.

    `areas` mm2, `draft` radians and `faces`, the mould's numbers, are (k,): of the lay-up faces.
    """
    with_lines = np.isfinite(ridges.angle) & (ridges.depth_mm > 0)
    across = with_lines & (np.nan_to_num(ridges.angle) > np.radians(ACROSS_DEG))
    across &= draft < np.radians(STEEP_DEG)
    total = max(float(areas.sum()), 1e-300)
    share = areas[across].sum() / total
    if not share > TOLD_SHARE:
        return []
    low = across & (draft < np.radians(settings.min_draft_deg) - 1e-6)
    grips = areas[low].sum() / total > TOLD_SHARE
    allowance = settings.bead_share * settings.layer_height_mm
    return [
        Finding(
            code="layer_ridges",
            severity="warning" if grips else "note",
            message=f"Layer lines up to {ridges.depth_mm[across].max():.2g} mm deep run across the "
            f"pull on {100 * share:.0f} % of the lay-up area and grip. On upright walls this is "
            f"the groove between beads ({allowance:.2g} mm allowed for): the stair alone "
            "would look too good there.",
            hint=_advice(choices, settings),
            faces=tuple(faces[across].tolist()),
        )
    ]


def better_build(choices: Sequence[BuildChoice], now: BuildChoice) -> BuildChoice | None:
    """Return the way to print with least grip that is worth a change; None: leave it as it is."""
    for choice in choices:
        scars = choice.support_on_layup_cm2 > now.support_on_layup_cm2 + 0.5
        if choice.grip_mm <= (WORTH_SUPPORT if scars else WORTH_A_CHANGE) * now.grip_mm:
            return choice
    return None


def _advice(choices: list[BuildChoice], settings: MouldSettings) -> str:
    now = next(c for c in choices if np.dot(c.direction, settings.build_direction) > 1 - 1e-6)
    best = better_build(choices, now)
    if best is None:
        return "Fill, sand and seal those walls along the pull."
    return (
        f"Fill, sand and seal those walls, or print with {say_direction(np.array(best.direction))} "
        f"upwards: grip falls from {1000 * now.grip_mm:.0f} to {1000 * best.grip_mm:.0f} µm, with "
        f"{best.support_cm2:.0f} cm² to support ({now.support_cm2:.0f} now), "
        f"{best.support_on_layup_cm2:.0f} cm² of it on the lay-up side."
    )


def _choice(
    mesh: MouldMesh, faces: Ints, slide: _Slide, build: Floats, settings: MouldSettings
) -> BuildChoice:
    lean = mesh.normals @ build
    depth = ridge_depth(mesh.normals[faces], build, settings.layer_height_mm, settings.bead_share)
    length = np.maximum(_line_length(np.abs(lean[faces])), FLAT)
    grip = depth * slide.across_lines(build) / length
    areas = mesh.areas
    height = mesh.vertices @ build
    bed, top = _span(height, mesh)
    support = lean < -np.sin(np.radians(settings.overhang_deg)) - 1e-9
    low = height[mesh.faces[support]].max(axis=1, initial=-np.inf)
    support[support] = low > bed + settings.layer_height_mm
    return BuildChoice(
        direction=(float(build[0]), float(build[1]), float(build[2])),
        grip_mm=float((areas[faces] * grip).sum() / max(float(areas[faces].sum()), 1e-300)),
        support_cm2=float(areas[support].sum() / 100),
        support_on_layup_cm2=float(areas[faces][support[faces]].sum() / 100),
        height_mm=top - bed,
    )


def _span(height: Floats, mesh: MouldMesh) -> tuple[float, float]:
    used = np.zeros(len(height), bool)
    used[mesh.faces] = True
    return float(height[used].min()), float(height[used].max())
