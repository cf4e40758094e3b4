"""The layers of our drawings, named for what the line is for, in the order they are drawn."""

from __future__ import annotations

from .drawing import Layer

_INK, _BLUE, _GREY = (0.10, 0.11, 0.13), (0.13, 0.36, 0.66), (0.55, 0.57, 0.60)
_RED, _GREEN, _OCHRE = (0.75, 0.15, 0.13), (0.10, 0.48, 0.36), (0.76, 0.47, 0.08)

ROLL_EDGE = Layer(name="ROLL_EDGE", title="roll edge", rgb=_GREY, width_mm=0.35, pen=1)
SELVEDGE = Layer(name="SELVEDGE", title="selvedge", rgb=_GREY, dash_mm=(6, 3), pen=1)
DEFECT = Layer(name="DEFECT", title="defect in the cloth", rgb=_RED, pen=1)
CHECK = Layer(name="CHECK_SQUARE", title="check square", rgb=_GREY, width_mm=0.18, pen=2)
TEXT = Layer(name="TEXT", title="text", rgb=_INK, width_mm=0.25, pen=3)
ARROW = Layer(name="ARROW", title="warp arrow", rgb=_BLUE, width_mm=0.35, pen=4)
TACK = Layer(name="TACK", title="tack point", rgb=_OCHRE, width_mm=0.35, pen=5)
NOTCH = Layer(name="NOTCH", title="notch", rgb=_GREEN, width_mm=0.35, pen=6)
NET = Layer(name="NET_LINE", title="net line", rgb=_BLUE, dash_mm=(4, 2), pen=7)
CUT = Layer(name="CUT", title="cut line", rgb=_INK, width_mm=0.5, pen=8, cuts=True)

LAYERS = (ROLL_EDGE, SELVEDGE, DEFECT, CHECK, TEXT, ARROW, TACK, NOTCH, NET, CUT)
