"""The add-on as a guest in Blender: ids, tooltips, registering twice, settings complete."""

from dataclasses import fields

import bpy
import pytest

import addon
from addon import engine, operators, panels, properties
from addon.panels import menus
from addon.properties import words

OPERATORS = [kind for module in operators.MODULES for kind in module.CLASSES]
PANELS = [kind for module in panels.MODULES for kind in module.CLASSES]
GROUPS = [kind for module in properties.MODULES for kind in module.CLASSES]


def test_registering_twice_and_leaving_is_clean():
    before = {name for name in dir(bpy.types) if name.startswith("MOULDPLY")}
    addon.unregister()
    assert not [name for name in dir(bpy.types) if name.startswith("MOULDPLY")]
    assert not hasattr(bpy.types.Object, "mouldply")
    handlers = [h for name in dir(bpy.app.handlers) for h in _list(name)]
    assert not [h for h in handlers if h.__module__.startswith("addon")]
    addon.register()
    assert {name for name in dir(bpy.types) if name.startswith("MOULDPLY")} == before


def _list(name):
    found = getattr(bpy.app.handlers, name)
    return found if isinstance(found, list) else []


@pytest.mark.parametrize("kind", OPERATORS, ids=lambda kind: kind.__name__)
def test_an_operator_has_our_id_a_label_and_a_tooltip(kind):
    assert kind.__name__.startswith("MOULDPLY_OT_")
    assert kind.bl_idname == f"mouldply.{kind.__name__.removeprefix('MOULDPLY_OT_')}"
    assert kind.bl_label
    tip = kind.__doc__.strip()
    assert len(tip.split()) >= 3
    assert not tip.endswith(".")


@pytest.mark.parametrize("kind", OPERATORS, ids=lambda kind: kind.__name__)
def test_every_option_of_an_operator_explains_itself(kind):
    shown = getattr(bpy.ops.mouldply, kind.bl_idname.split(".")[1]).get_rna_type().properties
    for name in kind.__annotations__:
        prop = shown[name]
        if not prop.is_hidden:
            assert prop.name
            assert prop.description or prop.type == "ENUM", f"{kind.__name__}.{name}"


# Not for F3: these belong to work under way or, as Blender has it, to a menu of presets.
UNSEARCHED = {"apply_result", "watch", "stop", "clear_message", "keep_resin", "keep_printer"}
MOUSE = {"paint_faces"}  # what was painted cannot be painted again from values


# Of one row of a list, by its number or name: they stand with their row.
OF_A_ROW = {
    "remove_roll", "remove_offcut", "add_defect", "remove_defect", "remove_coat", "remove_cut",
    "remove_mould_part", "forget_cloth",
}  # fmt: skip


@pytest.mark.parametrize("kind", OPERATORS, ids=lambda kind: kind.__name__)
def test_every_button_is_found_by_f3_and_can_be_changed_afterwards(kind):
    """Blender's F3 searches menus, without internal ones; its redo panel shows registered ones."""
    name = kind.bl_idname.split(".")[1]
    assert ("INTERNAL" in kind.bl_options) == (name in UNSEARCHED)
    in_a_menu = {row for part in menus.PARTS for row, _, _ in part.rows}
    assert (name in in_a_menu) == (name not in UNSEARCHED | OF_A_ROW)
    if name not in UNSEARCHED | MOUSE:
        assert "REGISTER" in kind.bl_options


def test_our_menu_hangs_in_those_of_object_and_of_edit_mode():
    for host in (bpy.types.VIEW3D_MT_object, bpy.types.VIEW3D_MT_edit_mesh):
        assert menus.draw_in_menu in host._dyn_ui_initialize()


@pytest.mark.parametrize("part", menus.PARTS, ids=lambda part: part.__name__)
def test_a_menu_s_options_are_the_operators_own(part):
    for name, options, _ in part.rows:
        known = getattr(bpy.ops.mouldply, name).get_rna_type().properties
        for option, value in options.items():
            items = [item.identifier for item in getattr(known[option], "enum_items", ())]
            assert not items or value in items


def test_starting_work_is_no_undo_step_of_its_own():
    """Nothing has changed yet; the result is the step. One press, one undo."""
    starts = {"flatten", "nest", "export", "check_mould", "propose_cuts", "seek_tack"}
    kinds = [kind for kind in OPERATORS if kind.bl_idname.split(".")[1] in starts]
    assert len(kinds) == len(starts)
    assert not [kind.__name__ for kind in kinds if "UNDO" in kind.bl_options]


def buttons():
    """Every operator of ours that a panel names."""
    import ast
    from pathlib import Path

    for file in Path(panels.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Constant) and str(node.value).startswith("mouldply."):
                yield node.value


def test_every_button_is_an_operator_and_every_operator_has_its_button():
    known = {kind.bl_idname for kind in OPERATORS}
    named = set(buttons()) | {f"mouldply.{name}" for name in UNSEARCHED}
    elsewhere = {"mouldply.import_cloths", "mouldply.export_cloths", "mouldply.forget_cloth"}
    assert named - known == set()
    assert known - named <= elsewhere  # in the preferences


@pytest.mark.parametrize("kind", GROUPS, ids=lambda kind: kind.__name__)
def test_every_field_that_is_shown_explains_itself(kind):
    import ast
    from pathlib import Path

    drawn = {
        node.value
        for file in Path(panels.__file__).parent.glob("*.py")
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    for prop in kind.bl_rna.properties:
        no_field = prop.identifier in ("rna_type", "name") or prop.identifier.startswith("active_")
        shown = prop.identifier in drawn and not no_field
        if shown and not prop.is_hidden and prop.type not in ("COLLECTION", "POINTER"):
            assert prop.name, prop.identifier
            items = prop.enum_items_static if prop.type == "ENUM" else ()
            told = prop.description or any(item.description for item in items)
            assert told, f"{kind.__name__}.{prop.identifier}"


@pytest.mark.parametrize("kind", PANELS, ids=lambda kind: kind.__name__)
def test_a_panel_is_in_our_tab(kind):
    if issubclass(kind, bpy.types.Panel) and not kind.__name__.endswith("_presets"):
        assert kind.bl_category == "mouldply"
        assert kind.__name__.startswith("MOULDPLY_PT_")
        if hasattr(kind, "bl_parent_id") and kind.__name__ != "MOULDPLY_PT_view":
            assert "DEFAULT_CLOSED" in kind.bl_options


SETTINGS = {
    ("cloth.fabric", "Fabric"): words.CLOTH,
    ("pattern.settings", "Dressing"): words.DRESSING,
    ("laminate.settings", "LaminateSettings"): words.LAMINATE,
    ("laminate.settings", "Coat"): words.COAT,
    ("laminate.settings", "Consumed"): words.CONSUMED,
    ("laminate.settings", "Rates"): words.RATES,
    ("nest.settings", "NestSettings"): words.NEST,
    ("export.paper", "PaperSettings"): words.PAPER,
}
# Not offered in the sidebar, each for its reason.
LEFT_OUT = {
    "id", "name",  # asked for where the thing is made
    "seed", "chunk", "processes",  # for programs: change no answer a person would want changed
    "coats", "consumed", "rates",  # groups of their own
    "cloth",  # prices of cloth stand on its rolls
    "sheet",  # an own menu
    "keep_offcut_mm", "mat_fibre_volume_fraction", "most_sheets",
}  # fmt: skip


@pytest.mark.parametrize("place", SETTINGS, ids=lambda place: place[1])
def test_every_setting_of_the_engine_is_offered_or_left_out_on_purpose(place):
    module, name = place
    known = {field.name for field in fields(getattr(engine.load(module), name))}
    assert known - LEFT_OUT <= set(SETTINGS[place])
    assert set(SETTINGS[place]) <= known


def test_mould_settings_have_the_engine_s_defaults():
    """Written out here, since that module would import numpy when the add-on is enabled."""
    from addon.scene_job import read_mould_settings

    mould = bpy.data.objects.new("m", bpy.data.meshes.new("m"))
    bpy.context.scene.collection.objects.link(mould)
    given = read_mould_settings(mould, bpy.context.scene)
    assert given == engine.load("mould.settings").MouldSettings()


def test_an_untouched_scene_gives_the_engine_s_defaults():
    from addon.scene_job import read_settings

    mould = bpy.data.objects.new("m", bpy.data.meshes.new("m"))
    bpy.context.scene.collection.objects.link(mould)
    assert read_settings(mould, bpy.context.scene) == engine.load("job").Settings()


def test_lengths_show_in_scene_units_and_stay_in_mm(scene):
    dressing = scene.mouldply.dressing
    dressing.trim_mm = 25.4
    scene.unit_settings.scale_length = 0.001
    assert dressing.trim == pytest.approx(25.4)
    scene.unit_settings.scale_length = 1.0
    assert dressing.trim == pytest.approx(0.0254)
    dressing.trim = 0.5 * 0.0254  # half an inch, as Blender hands it over
    assert dressing.trim_mm == pytest.approx(12.7)


def test_enabling_needs_no_compiled_library():
    """In a fresh process: registering imports none of the libraries that are carried."""
    import subprocess
    import sys

    code = (
        "import bpy, sys, time, addon; began = time.perf_counter(); addon.register();"
        "took = time.perf_counter() - began; addon.unregister();"
        "heavy = {'cvxopt', 'shapely', 'spyrrow', 'ezdxf', 'reportlab'} & set(sys.modules);"
        "print('HEAVY', sorted(heavy)); print('TOOK', took)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert "HEAVY []" in done.stdout, done.stdout + done.stderr
