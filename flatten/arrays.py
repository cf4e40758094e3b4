"""The one gate for arrays: checked, copied, read-only."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def frozen_floats(name: str, values: ArrayLike, shape: tuple[int | None, ...]) -> Floats:
    """Return a read-only float64 copy of `values`, all finite, of this shape (None: any length).

    Raises
    ------
    InputError : wrong shape, not numbers, NaN or infinite
    """
    array = _copy(name, values, np.float64)
    _check_shape(name, array, shape)
    if not np.isfinite(array).all():
        where = np.argwhere(~np.isfinite(array))[0].tolist()
        raise InputError(
            f"{name} must be finite, but entry {where} is {array[tuple(where)]}.",
            "Remove or repair that entry.",
        )
    array.flags.writeable = False
    return array


def frozen_ints(name: str, values: ArrayLike, shape: tuple[int | None, ...]) -> Ints:
    """Return a read-only int64 copy of `values` of this shape; refuses fractions and text."""
    given = np.asarray(values)
    if given.size and given.dtype.kind not in "iu":
        raise InputError(
            f"{name} must be integers, but they are of type {given.dtype}.", "Pass whole numbers."
        )
    array = given.astype(np.int64) if given.size else np.zeros(given.shape, np.int64)
    if not given.size and len(shape) > 1 and given.ndim == 1:
        array = np.zeros((0, *(n or 0 for n in shape[1:])), np.int64)
    _check_shape(name, array, shape)
    array.flags.writeable = False
    return array


def unit_vector(name: str, values: ArrayLike) -> Floats:
    """Return a read-only unit vector (3,) along `values`; refuses a zero one."""
    vector = frozen_floats(name, values, (3,))
    length = float(np.linalg.norm(vector))
    if not length > 1e-12:
        raise InputError(
            f"{name} is {vector.tolist()}, which has no direction.", "Give a direction."
        )
    return frozen_floats(name, vector / length, (3,))


def _copy(name: str, values: ArrayLike, dtype: Any) -> Floats:
    try:
        return np.array(values, dtype=dtype, order="C")
    except (TypeError, ValueError) as error:
        raise InputError(
            f"{name} are not numbers: {error}.", "Pass an array of numbers."
        ) from error


def _check_shape(name: str, array: NDArray[Any], shape: tuple[int | None, ...]) -> None:
    fits = array.ndim == len(shape) and all(
        want is None or want == got for want, got in zip(shape, array.shape, strict=True)
    )
    if not fits:
        wanted = ", ".join("any" if n is None else str(n) for n in shape)
        raise InputError(
            f"{name} has shape {array.shape}, but ({wanted}) is needed.", "Check the array's shape."
        )
