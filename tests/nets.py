"""Exact nets of inextensible cloth, computed without the drape: what it is compared with."""

from __future__ import annotations

import numpy as np
from scipy.integrate import solve_ivp
from scipy.interpolate import RectBivariateSpline


def sphere_angle(product: np.ndarray) -> np.ndarray:
    """Angle between warp and weft at uv / R^2 = product, for great circles as seed threads.

    w_uv = -K sin w turns into z f'' + f' = -sin f, f(0) = 90 deg, f'(0) = -1. Source: Chebyshev
    1878 (the net's equation), solved here by a general ODE solver.
    """
    reach = float(np.abs(product).max()) + 1e-6
    series = 1e-4  # f = pi/2 - z + ..., the equation is singular at z = 0
    start = [np.pi / 2 - series, -1.0]
    solution = solve_ivp(
        lambda z, f: [f[1], (-np.sin(f[0]) - f[1]) / z],
        (series, max(reach, 2 * series)),
        start,
        rtol=1e-10,
        atol=1e-12,
        dense_output=True,
    )
    size = np.abs(product)
    angle = np.where(
        size > series,
        solution.sol(np.maximum(size, series).ravel())[0].reshape(size.shape),
        np.pi / 2 - size,
    )
    return np.where(product < 0, np.pi - angle, angle)


class SphereNet:
    """The net on a unit sphere with great circles through the pole as seed threads.

    X_uv = -cos(w) X: the threads' surface has no other second difference along both. Solved on a
    grid from the two great circles, second order.
    """

    def __init__(self, reach: float, cells: int = 400) -> None:
        self.t = np.linspace(-reach, reach, 2 * cells + 1)
        quarter = self._quarter(np.linspace(0, reach, cells + 1))
        full = np.empty((2 * cells + 1, 2 * cells + 1, 3))
        signs = np.array([1.0, 1.0, 1.0])
        full[cells:, cells:] = quarter
        full[cells::-1, cells:] = quarter * signs * [-1, 1, 1]
        full[cells:, cells::-1] = quarter * [1, -1, 1]
        full[cells::-1, cells::-1] = quarter * [-1, -1, 1]
        self._place = [RectBivariateSpline(self.t, self.t, full[..., k]) for k in range(3)]

    @staticmethod
    def _quarter(t: np.ndarray) -> np.ndarray:
        n, h = len(t), t[1]
        middle = t[:-1] + h / 2
        cosine = np.cos(sphere_angle(np.outer(middle, middle)))
        x = np.zeros((n, n, 3))
        x[:, 0] = np.column_stack([np.sin(t), 0 * t, np.cos(t)])
        x[0, :] = np.column_stack([0 * t, np.sin(t), np.cos(t)])
        for diagonal in range(2, 2 * n - 1):  # cells of one anti-diagonal at once
            i = np.arange(max(1, diagonal - n + 1), min(diagonal, n))
            j = diagonal - i
            c = (h * h / 4 * cosine[i - 1, j - 1])[:, None]
            a, b, d = x[i, j - 1], x[i - 1, j], x[i - 1, j - 1]
            x[i, j] = (a + b - d - c * (a + b + d)) / (1 + c)
        return x

    def place(self, uv: np.ndarray, du: int = 0, dv: int = 0) -> np.ndarray:
        """Points (k, 3) on the sphere for cloth coordinates (k, 2)."""
        return np.column_stack([f.ev(uv[:, 0], uv[:, 1], dx=du, dy=dv) for f in self._place])

    def flat(self, points: np.ndarray, guess: np.ndarray) -> np.ndarray:
        """Cloth coordinates (k, 2) of points (k, 3) on the sphere, from a near guess."""
        uv = np.array(guess)
        for _ in range(20):
            off = points - self.place(uv)
            u, v = self.place(uv, 1, 0), self.place(uv, 0, 1)
            uu, uv2, vv = (u * u).sum(1), (u * v).sum(1), (v * v).sum(1)
            ru, rv = (u * off).sum(1), (v * off).sum(1)
            det = uu * vv - uv2**2
            step = np.column_stack([vv * ru - uv2 * rv, uu * rv - uv2 * ru]) / det[:, None]
            uv = uv + step
            if np.abs(step).max() < 1e-12:
                break
        return uv
