"""A cloth's locking angle from what can be measured at the bench."""

from __future__ import annotations

import numpy as np

from ..errors import InputError


def locking_angle_deg(*, yarn_width_mm: float, yarn_spacing_mm: float) -> float:
    """Return the shear (degrees) at which yarns lie side by side: cos(shear) = width / spacing.

    A lower bound: yarns narrow a little before they lock.

    Parameters
    ----------
    yarn_width_mm, yarn_spacing_mm : of one yarn, and from middle to middle of the next

    Raises
    ------
    InputError : not 0 < width < spacing

    Source: plane geometry of a pin-jointed net; as a lower bound in Prodromou & Chen, On the
    relationship between shear angle and wrinkling of textile composite preforms, Composites A 28
    (1997) 491, from memory.
    """
    if not 0 < yarn_width_mm < yarn_spacing_mm < np.inf:
        raise InputError(
            f"The yarn is {yarn_width_mm} mm wide at a spacing of {yarn_spacing_mm} mm.",
            "Enter a width above zero and below the spacing.",
        )
    return float(np.degrees(np.arccos(yarn_width_mm / yarn_spacing_mm)))


def bias_extension_shear_deg(*, length_mm: float, width_mm: float, extension_mm: float) -> float:
    """Return the shear (degrees) in the middle of a strip cut at 45 degrees and pulled longer.

    With L0 = length - width: shear = 90 - 2 acos((L0 + d) / (sqrt 2 L0)). The locking angle is
    the shear at the extension where the strip first wrinkles or the force climbs.

    Parameters
    ----------
    length_mm, width_mm : of the free strip, length at least twice the width
    extension_mm : how much longer it is pulled

    Raises
    ------
    InputError : a strip too short, or pulled beyond straight threads

    Source: Cao et al., Characterization of mechanical behavior of woven fabrics, Composites A 39
    (2008) 1037, from memory.
    """
    if not 0 < 2 * width_mm <= length_mm < np.inf:
        raise InputError(
            f"The strip is {length_mm} mm long and {width_mm} mm wide.",
            "Use a strip at least twice as long as wide.",
        )
    free = length_mm - width_mm
    cosine = (free + extension_mm) / (np.sqrt(2) * free)
    if not (extension_mm >= 0 and cosine <= 1):
        raise InputError(
            f"An extension of {extension_mm} mm is not possible on a strip of {length_mm} x "
            f"{width_mm} mm.",
            f"Enter 0 to {(np.sqrt(2) - 1) * free:.1f} mm.",
        )
    return float(90 - 2 * np.degrees(np.arccos(cosine)))
