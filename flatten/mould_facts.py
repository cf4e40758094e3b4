"""What the lay-up sheet says about the mould: draft, layer lines, corners, reach, in shop words."""

from __future__ import annotations

import numpy as np

from .export.layup_facts import BuildRow, MouldCheck
from .mould.corners import CornerSpot
from .mould.pull import say_direction
from .mould.report import MouldReport
from .mould.ridges import BuildChoice, better_build
from .mould.settings import MouldSettings
from .units import percent

MOST_CORNERS = 12  # a longer list is not worked off; the smallest are summed up in its last line
MOST_BUILDS = 3
SHOWN_SHARE = 1e-4  # of the lay-up area: as for the findings, below it is rounding


def mould_check(report: MouldReport) -> MouldCheck | None:
    """Return the facts, None where no lay-up face could be checked."""
    numbers, settings = report.numbers, report.settings
    if not numbers.layup_area_mm2 > 0:
        return None
    x, y, z = report.size
    facts = [
        ("size", f"{x:.0f} x {y:.0f} x {z:.0f} mm"),
        ("pull", _pulls(report)),
        ("draft", _draft(report, settings)),
        ("held back", _held(report)),
        ("layer lines", _ridges(report, settings)),
        ("inside corners", _corners(report, settings)),
        ("reach", _reach(report)),
        ("flange", _flange(report, settings)),
    ]
    if settings.ray_test and numbers.closed:
        thin = numbers.thinnest_wall_mm
        least = f"down to {thin:.1f} mm" if np.isfinite(thin) else "nowhere under"
        facts.append(("walls", f"{least}, {settings.wall_min_mm:g} mm asked for"))
    return MouldCheck(
        facts=tuple((name, words) for name, words in facts if words),
        draft_deg=np.degrees(report.maps.draft),
        limit_deg=settings.min_draft_deg,
        spots=tuple(
            (str(spot.number), np.array(spot.middle_mm)) for spot in report.corners[:MOST_CORNERS]
        ),
        builds=_builds(report, settings),
    )


def stipple_lines(corners: tuple[CornerSpot, ...]) -> tuple[str, ...]:
    """Return the list "stipple here", the corner that takes most resin first."""
    lines = [_stipple(spot) for spot in corners[:MOST_CORNERS]]
    rest = corners[MOST_CORNERS:]
    if rest:
        lines.append(
            f"and {len(rest)} smaller ones, {sum(spot.length_mm for spot in rest):.0f} mm in all, "
            f"{sum(spot.resin_g for spot in rest):.1f} g of resin"
        )
    return tuple(lines)


def _stipple(spot: CornerSpot) -> str:
    x, y, z = (value + 0.0 for value in np.round(spot.middle_mm))  # no minus before a zero
    what = "sharp corner" if spot.sharp else f"hollow of R {spot.radius_mm:.1f}"
    return (
        f"{spot.number}  {what}, {spot.length_mm:.0f} mm long, near x {x:.0f}, y {y:.0f}, "
        f"z {z:.0f} mm: cloth bridges by {spot.gap_mm:.1f} mm, {spot.resin_g:.1f} g of resin "
        "fills it"
    )


def _pulls(report: MouldReport) -> str:
    pulls = [say_direction(np.array(pull)) for pull in report.numbers.pulls]
    return pulls[0] if len(pulls) == 1 else f"{len(pulls)} parts: {', '.join(pulls)}"


def _draft(report: MouldReport, settings: MouldSettings) -> str:
    numbers, limit = report.numbers, f"{settings.min_draft_deg:g}°"
    least = f"{numbers.least_draft_deg:.3g}° at least"
    if numbers.least_draft_deg >= settings.min_draft_deg - 0.05:  # facets: as the finding
        return least
    low = numbers.low_draft_share - numbers.undercut_share
    return f"{least}; {percent(low)} of the lay-up under {limit}" if low > SHOWN_SHARE else least


def _held(report: MouldReport) -> str:
    numbers = report.numbers
    said = [
        f"{percent(share)} {what}"
        for share, what in (
            (numbers.undercut_share, "undercut"),
            (numbers.trapped_share, "under an overhang"),
        )
        if share > SHOWN_SHARE
    ]
    return ", ".join(said) or "nothing"


def _ridges(report: MouldReport, settings: MouldSettings) -> str:
    if not report.numbers.deepest_ridge_mm > 0:
        return "none on the lay-up"
    build = say_direction(settings.build_direction)
    return (
        f"up to {report.numbers.deepest_ridge_mm:.2f} mm deep if printed with {build} upwards, "
        f"{settings.layer_height_mm:g} mm layers"
    )


def _corners(report: MouldReport, settings: MouldSettings) -> str:
    pressed = f"the laminate presses into R {settings.pressable_radius_mm:.2g}"
    if not report.corners:
        return f"none too tight; {pressed}"
    count = len(report.corners)
    some, them = ("1 place", "it") if count == 1 else (f"{count} places", "them")
    return (
        f"{some} too tight, {report.numbers.corner_length_mm:.0f} mm in all; {pressed}; "
        f"{report.numbers.corner_resin_g:.1f} g of resin to fill, not counted in the pots; "
        f"a fillet of R {report.corners[0].fillet_mm:g} in the mould would cure {them}"
    )


def _reach(report: MouldReport) -> str:
    numbers = report.numbers
    if not numbers.depth_mm > 0:  # flat, or laid over the mould
        return ""
    return f"{numbers.depth_mm:.0f} mm deep, {numbers.opening_mm:.0f} mm opening"


def _flange(report: MouldReport, settings: MouldSettings) -> str:
    """Return how far the mould goes on beyond the lay-up: it is looked for no further than trim."""
    if not settings.trim_mm > 0:
        return ""
    flange, trim = report.numbers.flange_mm, f"{settings.trim_mm:g} mm"
    if flange >= settings.trim_mm:
        return f"at least the {trim} of the trim"
    return f"{flange:.0f} mm where least, {trim} trim"


def _builds(report: MouldReport, settings: MouldSettings) -> tuple[BuildRow, ...]:
    """Return the directions with least grip and the one set.

    None where layer lines do not hold the part, or where the one set is as good.
    """

    def is_now(choice: BuildChoice) -> bool:
        return bool(np.dot(choice.direction, settings.build_direction) > 1 - 1e-6)

    if not any(finding.code == "layer_ridges" for finding in report.findings):
        return ()
    now = next((choice for choice in report.builds if is_now(choice)), None)
    if now is None or better_build(report.builds, now) is None:
        return ()
    best = list(report.builds[:MOST_BUILDS])
    best += [choice for choice in report.builds[MOST_BUILDS:] if is_now(choice)]
    return tuple(
        BuildRow(
            upwards=say_direction(np.array(choice.direction)),
            grip_um=1000 * choice.grip_mm,
            support_cm2=choice.support_cm2,
            support_on_layup_cm2=choice.support_on_layup_cm2,
            height_mm=choice.height_mm,
            now=is_now(choice),
        )
        for choice in best
    )
