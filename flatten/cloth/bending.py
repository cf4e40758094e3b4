"""Threads resist being bent in the plane of the cloth: what makes a locking corner definite.

Where cloth locks, an inextensible net alone has several lay-downs with kinks in single triangles,
and each mesh picks its own. A thread's stiffness against bending in the plane gives kinks a width.
With g the gradient of the flat coordinate a thread holds, a its polar angle and A the area, per
triangle

    E = 1/2 B A |grad a|^2, for the warp and the weft.

As a complex number g = |g| exp(i a), so grad a = Im(grad g / g); grad g are second derivatives,
read from the corners of the three triangles around (unfolded.py). They are right for layouts of
second degree, so the energy feels neither the size of the triangles nor their shape. It comes in
by degrees as cloth jams (jam.py), and is left out where it does not.

Source: second-gradient theory of woven cloth, e.g. dell'Isola & Steigmann, A two-dimensional
gradient-elasticity theory for woven fabrics, J. Elasticity 118 (2015) 113; its discrete form: ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations_with_replacement

import numpy as np

from ..arrays import Floats, Ints
from ..surface.mesh import MouldMesh
from .energy import Panels
from .factor import SparseSystem
from .unfolded import ACROSS, NEAREST, Unfolded, damped_inverse

# What the three corners across leave open is taken as straight: a triangle at the rim has less.
DAMPED = 4e-4
CORNERS = 3 + ACROSS
PAIRS = tuple(combinations_with_replacement(range(CORNERS), 2))


def coupled_pairs(mesh: MouldMesh) -> Ints:
    """Return (k, 2) the pairs of vertices that bending couples, those an edge joins among them."""
    at = _corners(Unfolded(Panels.of(mesh), mesh.edges, ACROSS))
    count = len(mesh.vertices)
    keys = [np.minimum(at[i], at[j]) * count + np.maximum(at[i], at[j]) for i, j in PAIRS]
    low, high = np.divmod(np.unique(np.concatenate(keys)), count)
    return np.asarray(np.column_stack([low, high])[low < high])


class Bending:
    """The bending energy of both threads over a mesh.

    `stiffness` B in mm2, as a share of the fibres' stiffness: a tow of width b bends as a solid
    strip with B = b^2 / 12.
    """

    def __init__(self, mesh: MouldMesh, system: SparseSystem, stiffness: float) -> None:
        panels = Panels.of(mesh)
        around = Unfolded(panels, mesh.edges, ACROSS)
        self.at = _corners(around)
        self.weight = stiffness * panels.areas
        self.first, self.second = _first(panels), _second(around)
        self._slots = []
        for axis in (0, 1):
            own, beside = system.diagonal(axis), system.beside(axis)
            slots = np.empty((len(PAIRS), len(panels)), np.int64)
            for slot, (i, j) in zip(slots, PAIRS, strict=True):
                apart = np.flatnonzero(self.at[i] != self.at[j])
                slot[:] = own[self.at[i]]
                slot[apart] = beside[system.pair_of(self.at[i, apart], self.at[j, apart])]
            self._slots.append(slots.ravel())

    def energy(self, values: Floats) -> float:
        """Return the energy of the threads that hold a coordinate, `values` (n,) mm."""
        _, turns = self._turns(values)
        return float(0.5 * sum(self.weight @ (turn.imag * turn.imag) for turn in turns))

    def slope(self, values: Floats) -> Floats:
        """Return (n,) its slope."""
        total = np.zeros(self.at.shape)
        for turn, row, _ in self._rows(values):
            total += (self.weight * turn.imag) * row.imag
        return np.asarray(np.bincount(self.at.ravel(), total.ravel(), len(values)), float)

    def add_stiffness(self, matrix: Floats, values: Floats, axis: int, newton: float) -> None:
        """Add its second derivatives, with the share `newton` of the turning's own."""
        total = np.zeros((len(PAIRS), len(self.weight)))
        for turn, row, log in self._rows(values):
            flat, moment = row.imag, newton * self.weight * turn.imag
            heavy = self.weight * flat
            for entry, (i, j) in zip(total, PAIRS, strict=True):
                entry += heavy[i] * flat[j]
                if newton and i < 3:
                    entry -= moment * (row[j] * log[i]).imag
                if newton and j < 3:
                    entry -= moment * (row[i] * log[j]).imag
        for entry, (i, j) in zip(total, PAIRS, strict=True):
            if i != j:
                entry[self.at[i] == self.at[j]] *= 2  # met twice
        matrix += np.bincount(self._slots[axis], total.ravel(), minlength=len(matrix))

    def _turns(self, values: Floats) -> tuple[Floats, list[Floats]]:
        """Return g and, one way and the other, grad log g."""
        at = values[self.at]
        g = sum(self.first[k] * at[k] for k in range(3))
        return g, [sum(s[k] * at[k] for k in range(CORNERS)) / g for s in self.second]

    def _rows(self, values: Floats) -> Iterator[tuple[Floats, Floats, Floats]]:
        """Yield grad log g, one way and the other, its slopes (6, m) and those (3, m) of log g."""
        g, turns = self._turns(values)
        log = self.first / g
        for turn, second in zip(turns, self.second, strict=True):
            row = second / g
            row[:3] -= turn * log
            yield turn, row, log


def _corners(around: Unfolded) -> Ints:
    """Return (6, m) the corners of each triangle, and those across its sides."""
    return np.concatenate([around.panels.corner, around.vertices])


def _first(panels: Panels) -> Floats:
    """Return (3, m) what the corners add to g."""
    b, s, h = panels.inverse_base, panels.shift, panels.inverse_height
    return np.stack([-b + 1j * (s - h), b - 1j * s, 1j * h])


def _second(around: Unfolded) -> list[Floats]:
    """Return what (6, m) the corners add to the derivative of g, one way and the other.

    Second derivatives (xx, sqrt 2 xy, yy) by least squares: damping so knows no direction.
    """
    panels, place = around.panels, around.places
    base, high = 1 / panels.inverse_base, 1 / panels.inverse_height
    x2 = panels.shift * base * high
    w2 = place.imag / high
    w1 = (place.real - w2 * x2) / base
    rows = [
        0.5 * (place.real**2 - w1 * base**2 - w2 * x2**2),
        np.sqrt(0.5) * (place.real * place.imag - w2 * x2 * high),
        0.5 * (place.imag**2 - w2 * high**2),
    ]
    size = np.sqrt(rows[0] ** 2 + rows[1] ** 2 + rows[2] ** 2)
    weight = around.there / np.maximum(size, NEAREST * panels.areas)
    unit = [weight * row for row in rows]
    normal = {(i, j): (unit[i] * unit[j]).sum(axis=0) for i in range(3) for j in range(i, 3)}
    inverse = damped_inverse(normal, DAMPED)
    xx, xy, yy = (sum(inverse[j][i] * unit[i] for i in range(3)) * weight for j in range(3))
    xy = xy * np.sqrt(0.5)
    found = []
    for far in (xx + 1j * xy, xy + 1j * yy):
        own = [-(far * share).sum(axis=0) for share in (w1, w2)]
        start = -far.sum(axis=0) - own[0] - own[1]
        found.append(np.concatenate([[start], own, far]))
    return found
