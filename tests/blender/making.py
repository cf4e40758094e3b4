"""Moulds for the tests, made through Blender's own data calls."""

import bpy
import numpy as np


def mesh_object(name, vertices, faces):
    """Link a mesh object and make it the active one; units are Blender's."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata([tuple(v) for v in np.asarray(vertices, float)], [], [list(f) for f in faces])
    mesh.validate()
    thing = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(thing)
    activate(thing)
    return thing


def activate(thing):
    """Make it the only selected and the active object."""
    for other in bpy.context.view_layer.objects:
        other.select_set(False)
    thing.select_set(True)
    bpy.context.view_layer.objects.active = thing


def grid(name="tile", size=0.2, cells=8, height=0.0):
    """A square sheet of quads, `size` Blender units long, bulged up by `height`."""
    line = np.linspace(-size / 2, size / 2, cells + 1)
    x, y = np.meshgrid(line, line)
    z = height * np.cos(np.pi * x / size) * np.cos(np.pi * y / size)
    number = np.arange((cells + 1) ** 2).reshape(cells + 1, cells + 1)
    faces = np.stack([number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]], -1)
    return mesh_object(name, np.stack([x, y, z], -1).reshape(-1, 3), faces.reshape(-1, 4))


def select(thing, faces=None):
    """Select these polygons (all if None) in object mode."""
    from addon import mesh_data

    chosen = np.zeros(len(thing.data.polygons), bool)
    chosen[slice(None) if faces is None else list(faces)] = True
    mesh_data.select_polygons(thing.data, chosen)


def ply_on(thing, faces=None, **settings):
    """Make a ply on these polygons and return it."""
    select(thing, faces)
    assert bpy.ops.mouldply.new_ply() == {"FINISHED"}
    ply = thing.mouldply.plies[thing.mouldply.active_ply]
    for name, value in settings.items():
        setattr(ply, name, value)
    return ply


def job_of(thing):
    """Return the job of a mould."""
    from addon.scene_job import read_job

    return read_job(thing, bpy.context.scene, bpy.context.evaluated_depsgraph_get())
