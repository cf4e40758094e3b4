"""From a mould in the file to a checked DXF by what the tab says is next; the clicks are counted.

A click is one button pressed, one dialog confirmed, one field set, or one gesture in the view.
The shallow tray of `whole_way` is imported first, which is counted by itself. The DXF is
read again: its pieces are closed, in mm, and along the warp as long as the mould's own section.
"""

import tempfile
from itertools import pairwise
from math import dist
from pathlib import Path

import bpy
import hands
import whole_way
from hands import in_view, part, shot

MOST = 10
SHALLOW_MM = 12.0  # lies down without a cut
WALL = 9  # the profile's ring below the rim's edge, where a kink is marked as sharp
NEAR_MM = 20.0  # of the floor's middle
MOST_STEPS = 12
LENGTH_SHARE = 0.005  # of the section: the mesh's chords, threads that stretch a little
CLICKS = []
FOLDER = Path(tempfile.mkdtemp(prefix="window-"))
DIALOGS = {"mouldply.export": {"directory": str(FOLDER / "cut")}}


def flow():
    """Select the hollow, then press what Next Step shows until it shows nothing."""
    hands.open_tab()
    yield 3
    for thing in list(bpy.data.objects):
        bpy.data.objects.remove(thing)
    whole_way.DEPTH_MM = SHALLOW_MM
    whole_way.write_stl(FOLDER / "tray.stl")
    in_view(bpy.ops.mouldply.import_mould, filepath=str(FOLDER / "tray.stl"))
    print("CLICKS to import: 3 (the button, the file, Import)")
    yield 2
    yield from selected()
    for step in range(MOST_STEPS):
        text, button, options = part("panels.bench").next_step(bpy.context)
        print("NEXT", text, button, flush=True)
        if not button:
            break
        clicked(button)
        if button in DIALOGS:
            clicked("its dialog")
        operator = getattr(bpy.ops.mouldply, button.split(".")[1])
        assert operator.poll(), f"{button} cannot be pressed"
        in_view(operator, "EXEC_DEFAULT", True, **options, **DIALOGS.get(button, {}))
        yield 3
        shot(f"{step:02}_{button.split('.')[1]}")
    print("CLICKS", len(CLICKS), *CLICKS, sep=" | ")
    assert text.startswith("All is written"), text
    look_at_dxf(FOLDER / "cut" / "patterns.dxf")
    assert len(CLICKS) <= MOST, f"{len(CLICKS)} clicks"


def clicked(what):
    CLICKS.append(what)


def selected():
    """Do what the tab says of a mould with sharp edges: L over a face, delimit by Sharp."""
    clicked("Tab: edit mode")
    clicked("L over the floor")
    clicked("delimit by Sharp")
    whole_way.select_faces(
        lambda normal, middle: normal.z > 0.99 and max(abs(middle.x), abs(middle.y)) < NEAR_MM
    )
    in_view(bpy.ops.mesh.select_linked, delimit={"SHARP"})
    yield 1
    shot("selected")


def look_at_dxf(file):
    """Compare the net outline's length along the warp with the mould's own section."""
    import ezdxf

    document = ezdxf.readfile(file)
    assert document.header["$INSUNITS"] == 4  # mm, by the DXF reference of header variables
    layers = {}
    for line in document.modelspace().query("LWPOLYLINE"):
        layers.setdefault(line.dxf.layer, []).append(line)
    print("LAYERS", {name: len(lines) for name, lines in layers.items()})
    (cut,) = (lines for name, lines in layers.items() if name.upper().startswith("CUT"))
    assert all(line.closed for line in cut)
    (net,) = (lines for name, lines in layers.items() if name.upper().startswith("NET"))
    xs = [x for line in net for x, _ in line.get_points("xy")]
    rings = whole_way.profile()[WALL:]
    section = 2 * (
        sum(dist(one, other) for one, other in pairwise(rings))
        + whole_way.HALF_MM[0]
        - rings[-1][0]
    )
    print(f"LENGTH {max(xs) - min(xs):.2f} mm, the section {section:.2f} mm")
    assert abs(max(xs) - min(xs) - section) < LENGTH_SHARE * section
