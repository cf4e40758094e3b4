"""Fitting on cells: holes, offcuts, flaws, and the joining of chunks."""

from dataclasses import replace

import numpy as np
import pytest
from nest.cloths import blob, cloth, piece, rectangle, simple
from shapely import Point, Polygon, box
from shapely.affinity import affine_transform, rotate, translate

from flatten.nest.fit import FreeCloth, fill
from flatten.nest.holes import with_guests
from flatten.nest.join import join, turned_round
from flatten.nest.layout import Placement
from flatten.nest.part import Spot, parts_of
from flatten.nest.shelf import Strip, shelve
from flatten.nest.turned_over import turned_over

STRIP = Strip(low_y=0.0, high_y=600.0)


def parts(*pieces, **changes):
    return parts_of(pieces, cloth(), simple(**changes))


def shapes(of, spots):
    return [of[spot.part].at(spot) for spot in spots]


@pytest.mark.parametrize("seed", range(4))
def test_what_fits_on_cells_fits_on_cloth(seed):
    """Inside the region and the gap apart: measured with true distances, to a micron."""
    region = translate(rotate(box(0, 0, 700, 500), 10 * seed), 100, -50)
    some = parts(*(piece(f"b{n}", blob(10 * seed + n, 40 + 15 * n), 2) for n in range(5)))

    spots, left = fill(some, [part.count for part in some], region, 4.0)

    laid = shapes(some, spots)
    assert len(laid) >= 5
    assert len(laid) + sum(left) == 10
    assert all(region.buffer(1e-6).covers(shape) for shape in laid)
    apart = [a.distance(b) for i, a in enumerate(laid) for b in laid[:i]]
    assert min(apart) >= 4 - 1e-6


def test_a_piece_slides_to_within_a_tenth_of_the_gap():
    """Cells cost little: the second square ends up 5 mm from the first, not a cell farther."""
    some = parts(piece("square", rectangle(200, 200), 2))

    spots, _ = fill(some, [2], box(0, 0, 1000, 230), 5.0)

    first, second = shapes(some, spots)
    assert first.bounds[0] == pytest.approx(0, abs=0.1)
    assert first.distance(second) == pytest.approx(5, abs=0.1)


def test_nothing_is_laid_where_nothing_fits():
    some = parts(piece("square", rectangle(200, 200)))

    assert FreeCloth(box(0, 0, 190, 400), 0).take(some, 0) is None
    assert FreeCloth(box(0, 0, 400, 400), 0, [box(150, 150, 250, 250)]).take(some, 0) is None


def ring(outer, inner):
    return Polygon(Point(0, 0).buffer(outer).exterior, [Point(0, 0).buffer(inner).exterior.coords])


def test_small_pieces_go_into_the_holes_of_large_ones():
    """Two rings, three discs that fit a hole once each: two go in, one is left on the roll."""
    some = parts(
        piece("ring", ring(300, 200), 2), piece("disc", Point(0, 0).buffer(150).exterior.coords, 3)
    )

    filled = with_guests(some, 5.0)

    assert [(len(part.members), part.count) for part in filled] == [(2, 2), (1, 1)]
    host = filled[0]
    guest = host.members[1]
    disc = translate(Point(0, 0).buffer(150), guest.x_mm, guest.y_mm)
    assert disc.distance(ring(300, 200)) >= 5 - 1e-6
    assert sum(p.area_mm2 * p.count for p in filled) == pytest.approx(
        sum(p.area_mm2 * p.count for p in some)
    )


def test_a_part_turned_over_takes_its_guests_along():
    """Off-centre hole, guest of no symmetry: mirrored together, the guest is still in its hole."""
    host = Polygon(rectangle(600, 400), [rectangle(250, 150, 30, 220)])
    guest = [(0, 0), (200, 0), (200, 40), (60, 120), (0, 120)]
    pieces = {"host": piece("host", host), "guest": piece("guest", guest)}

    (flipped,) = turned_over([replace(with_guests(parts(*pieces.values()), 4.0)[0], count=2)])[1:]

    laid = [
        affine_transform(
            pieces[m.piece].polygon,
            Placement(
                piece=m.piece,
                copy=1,
                kit=1,
                x_mm=m.x_mm,
                y_mm=m.y_mm,
                angle_deg=m.angle_deg,
                mirrored=m.mirrored,
            ).matrix,
        )
        for m in flipped.members
    ]
    assert all(member.turned_over for member in flipped.members)
    assert flipped.outline.equals(Polygon(laid[0].exterior))
    assert laid[0].distance(laid[1]) >= 4 - 1e-6
    assert Polygon(laid[0].exterior).covers(laid[1])


def test_a_hole_too_small_for_its_gap_stays_empty():
    some = parts(
        piece("ring", ring(300, 152)), piece("disc", Point(0, 0).buffer(150).exterior.coords)
    )

    assert [len(part.members) for part in with_guests(some, 5.0)] == [1, 1]


def test_joined_chunks_interlock_and_keep_the_gap():
    """Two triangles that make a square: joined they take a gap more than its width, no more."""
    some = parts(piece("wedge", [(0, 0), (600, 0), (0, 600)], 2))
    chunks = [[Spot(0, 0.0, 0.0, 0.0)], [Spot(0, 600.0, 600.0, 180.0)]]

    spots = join(some, chunks, STRIP, 6.0)

    first, second = shapes(some, spots)
    assert first.distance(second) == pytest.approx(6, abs=0.05)
    assert second.bounds[2] == pytest.approx(600 + 6 * 2**0.5, abs=0.1)


def test_chunks_are_laid_so_that_little_lies_on_flaws():
    """Three bars, one with a gap where the flaw is: it goes there, half a turn round as it must."""
    some = parts(piece("bar", rectangle(300, 600), 2), piece("half", rectangle(300, 200), 2))
    bar = [Spot(0, 0.0, 0.0, 0.0)]
    gapped = [Spot(1, 0.0, 0.0, 0.0), Spot(1, 0.0, 200.0, 0.0)]  # free from 400 to 600
    flaw = Point(450, 100).buffer(60)

    spots = join(some, [bar, bar, gapped], STRIP, 0.0, [flaw])

    laid = shapes(some, spots)
    assert [spot.part for spot in spots] == [0, 1, 1, 0]
    assert not any(flaw.intersects(shape) for shape in laid)
    assert max(shape.bounds[2] for shape in laid) == pytest.approx(900, abs=0.1)


def test_a_layout_turned_round_is_the_same_layout():
    some = parts(*(piece(f"b{n}", blob(n, 80)) for n in range(5)))
    spots, _ = shelve(some, [1] * 5, STRIP, 3.0)

    turned = turned_round(some, spots, STRIP)

    before, after = shapes(some, spots), shapes(some, turned)
    apart = [[a.distance(b) for i, a in enumerate(s) for b in s[:i]] for s in (before, after)]
    assert np.allclose(*apart, atol=1e-9)
    assert max(s.bounds[2] for s in after) == pytest.approx(max(s.bounds[2] for s in before))
    assert min(s.bounds[0] for s in after) == pytest.approx(0, abs=1e-9)
    assert all(s.bounds[1] >= 0 and s.bounds[3] <= 600 for s in after)


def test_shelves_step_over_a_flaw():
    flaw = Point(150, 100).buffer(50)
    strip = Strip(low_y=0.0, high_y=600.0, blocked=(flaw,))
    some = parts(piece("square", rectangle(200, 200), 4))

    spots, left = shelve(some, [4], strip, 0.0)

    assert left == [0]
    assert max(shape.intersection(flaw).area for shape in shapes(some, spots)) < 1e-6
    assert len({spot.x_mm for spot in spots}) == 2
