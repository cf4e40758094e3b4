"""Every panel open, page by page, on a sample whose plies are flat and nested (--blend)."""

import bpy
import hands

PAGES = 14


def flow():
    """Flatten, nest, open, scroll."""
    hands.open_panels()  # before they are first drawn: their state is kept from then on
    hands.open_tab()
    yield 3
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
