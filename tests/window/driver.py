"""Inside Blender: install the extension, then take a script's steps one by one from a timer.

A script has `flow()`, a generator: before each next step the driver waits until no work is under
way and as many seconds have passed as the script yielded. Started by run.py.
"""

import importlib.util
import os
import sys
import time
import traceback
from pathlib import Path

import bpy

sys.dont_write_bytecode = True
sys.path.insert(0, str(Path(__file__).parent))
EXTENSION = "bl_ext.user_default.mouldply"
PATIENCE_S = 300.0  # without any progress of a piece of work; then it is stopped, as with Esc
STATE = {"drawn": 0, "flow": None, "until": 0.0, "seen": None}


def tick():
    """Let the window draw, install, then take the steps."""
    STATE["drawn"] += 1
    if STATE["drawn"] < 4:
        return 0.3
    went_through = False
    try:
        pause = _work()
        went_through = True
    finally:
        if not went_through:  # a timer's exception would only be printed
            traceback.print_exc()
            print("WINDOW SCRIPT FAILED", flush=True)
            os._exit(1)
    return pause


def _work():
    if STATE["flow"] is None:
        _install()
        STATE["flow"] = _script().flow()
        return 0.3
    if time.monotonic() < STATE["until"]:
        return 0.05
    work = getattr(bpy.context.window_manager, "mouldply", None)  # a script may switch us off
    if work is not None and work.running:
        if STATE["seen"] != (work.what, work.share):  # a loaded machine is slow, not stuck
            STATE["seen"], STATE["until"] = (work.what, work.share), time.monotonic()
        if time.monotonic() > STATE["until"] + PATIENCE_S:
            print("STOPPED after", PATIENCE_S, "s without progress:", work.what)
            bpy.ops.mouldply.stop()
            STATE["until"] += PATIENCE_S
        return 0.05
    try:
        pause = next(STATE["flow"])
    except StopIteration:
        print("WINDOW SCRIPT DONE", flush=True)
        os._exit(0)  # closing the window would ask whether to save
    STATE["until"] = time.monotonic() + (1.0 if pause is None else pause)
    return 0.05


def _install():
    import hands

    hands.in_view(
        bpy.ops.extensions.package_install_files,
        filepath=os.environ["MOULDPLY_ZIP"],
        repo="user_default",
        enable_on_install=True,
        overwrite=True,
    )
    if EXTENSION not in bpy.context.preferences.addons:
        raise SystemExit("The extension was not enabled.")  # installing says FINISHED anyway
    view = bpy.context.preferences.view
    view.smooth_view, view.ui_scale = 0, float(os.environ["WINDOW_SCALE"])
    language = os.environ["WINDOW_LANGUAGE"]
    if language:
        _speak(view, language)


def _speak(view, language):
    for name in (language, f"{language}_{language.upper()}"):  # 4.2 names it with the country
        try:
            view.language = name
        except TypeError:
            continue
        view.use_translate_interface = view.use_translate_tooltips = True
        view.use_translate_new_dataname = False
        return
    raise SystemExit(f"This Blender does not speak '{language}'.")


def _script():
    file = Path(os.environ["WINDOW_SCRIPT"])
    spec = importlib.util.spec_from_file_location(file.stem, file)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


bpy.app.timers.register(tick, first_interval=0.5, persistent=True)
