"""Every panel open, page by page, on a sample whose plies are flat and nested (--blend)."""

import bpy
import hands

PAGES = 20


def flow():
    """Flatten, nest, open, scroll."""
    hands.open_panels()  # before they are first drawn: their state is kept from then on
    hands.open_tab()
    yield 3
    fill()
    bpy.context.scene.mouldply.nest.seconds = 3
    hands.in_view(bpy.ops.mouldply.nest)
    yield 2
    last = b""
    for page in range(PAGES):
        hands.shot(f"page{page:02}")
        picture = hands.OUT / f"page{page:02}.png"
        if picture.read_bytes() == last:
            picture.unlink()
            return
        last = picture.read_bytes()
        hands.scroll(1)
        yield 0.5


def fill():
    """Give every panel something to show: a coat, a flaw, an offcut, a cover, a core and tapes."""
    kept, ours = bpy.context.scene.mouldply, bpy.ops.mouldply
    hands.in_view(ours.add_coat)
    hands.in_view(ours.add_offcut)
    hands.in_view(ours.add_defect, roll=0)
    hands.in_view(ours.new_mould_part) if select_all() else None
    for kind in ("corner_tape", "core", "cover"):
        hands.in_view(ours.add_extra, kind=kind)
    kept.files.engrave = True


def select_all():
    """Select every face of the mould: what a part of it is made of."""
    mould = next(thing for thing in bpy.data.objects if thing.mouldply.is_mould)
    bpy.context.view_layer.objects.active = mould
    mould.data.polygons.foreach_set("select", [True] * len(mould.data.polygons))
    return True
