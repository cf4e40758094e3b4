"""Pieces of layout the panels share."""

from __future__ import annotations

import textwrap

import bpy

from ..moulds import find_mould
from ..props import CONTEXT

CATEGORY = "mouldply"


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


def paragraph(layout, context, text, *, icon="NONE"):
    """Draw a sentence, wrapped to the sidebar's width."""
    region = context.region
    scale = context.preferences.system.ui_scale
    letters = max(18, int((region.width / scale - 50) / 6.6)) if region is not None else 40
    column = layout.column(align=True)
    column.scale_y = 0.8
    words = say(text)
    for number, line in enumerate(textwrap.wrap(words, letters)):
        first = icon if number == 0 or icon == "NONE" else "BLANK1"
        column.label(text=line, icon=first, translate=False)


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
