"""Pieces of layout the panels share."""

from __future__ import annotations

import textwrap

import bpy

from ..moulds import find_mould
from ..props import CONTEXT

CATEGORY = "mouldply"
# The interface's letters, and what a sidebar keeps free beside them (margins, box, tabs), in
# pixels at scale 1; measured in a window, the same at scale 2.
LETTER_PX, MARGIN_PX, ICON_PX = 11.0, 62.0, 22.0
BUTTON_PX = 30.0  # a button of one icon beside a paragraph, with its gap


class Section:
    """A panel of our tab."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = CATEGORY


class MouldSection(Section):
    """A panel that needs a mould."""

    @classmethod
    def poll(cls, context):
        """Whether there is a mould."""
        return find_mould(context) is not None


class ClosedSection(MouldSection):
    """The same, closed until it is opened."""

    bl_options = {"DEFAULT_CLOSED"}


def say(text):
    """Return a text of ours in the interface's language."""
    return bpy.app.translations.pgettext_iface(text, CONTEXT)


def tidy(layout):
    """Return a column with labels to the left of their fields."""
    layout.use_property_split = True
    layout.use_property_decorate = False
    return layout.column()


def optional(layout, group, name, *, shown=""):
    """Draw a switch and, beside it, the value it switches on."""
    switch = f"use_{name}"
    view = shown or name.removesuffix("_mm").removesuffix("_deg")
    row = layout.row(align=True, heading=group.bl_rna.properties[switch].name)
    row.prop(group, switch, text="")
    value = row.row()
    value.active = getattr(group, switch)
    value.prop(group, view, text="")


def paragraph(layout, context, text, *, icon="NONE", taken_px=0.0):
    """Draw a sentence, wrapped to the sidebar's width without what else is `taken_px` of it."""
    column = layout.column(align=True)
    column.scale_y = 0.8
    taken_px += 0.0 if icon == "NONE" else ICON_PX
    for number, line in enumerate(_wrapped(context, say(text), taken_px)):
        first = icon if number == 0 or icon == "NONE" else "BLANK1"
        column.label(text=line, icon=first, translate=False)


def _wrapped(context, text, taken_px):
    """Return the lines of a text that fit the sidebar, measured in its own letters."""
    import blf

    region = context.region
    if region is None:
        return textwrap.wrap(text, 40)
    scale = context.preferences.system.ui_scale
    blf.size(0, LETTER_PX * scale)
    room = region.width - (MARGIN_PX + taken_px) * scale
    lines, at, space = [], 0.0, blf.dimensions(0, "a a")[0] - blf.dimensions(0, "aa")[0]
    for word in text.split():
        wide = blf.dimensions(0, word)[0]
        if lines and at + space + wide <= room:
            lines[-1] += f" {word}"
            at += space + wide
        else:
            lines.append(word)
            at = wide
    return lines


def length(scene, mm, digits=1):
    """Return a length as text in the scene's own units."""
    units = scene.unit_settings
    if units.system == "IMPERIAL":
        return f"{mm / 25.4:.{digits + 1}f} in"
    if units.system == "METRIC" and units.length_unit == "METERS" and mm >= 1000:
        return f"{mm / 1000:.{digits + 1}f} m"
    return f"{mm:.{digits}f} mm"


def sizes(scene, sizes_mm):
    """Return sizes as text with one unit at the end."""
    if scene.unit_settings.system == "IMPERIAL":
        return " × ".join(f"{mm / 25.4:.1f}" for mm in sizes_mm) + " in"
    return " × ".join(f"{mm:.0f}" if mm >= 10 else f"{mm:.2g}" for mm in sizes_mm) + " mm"


def facts(layout, rows):
    """Draw label and value pairs, quietly."""
    column = layout.column(align=True)
    column.scale_y = 0.85
    for label, value in rows:
        row = column.split(factor=0.5)
        row.alignment = "RIGHT"
        row.label(text=say(label), translate=False)
        row.label(text=value, translate=False)
