"""Damaged .blend files, and what comes of opening one as the command line does."""

from __future__ import annotations

import hashlib
import re
import struct
import subprocess
import sys
from pathlib import Path

from addon import blend_reader
from flatten.errors import FlattenError

ROOT = Path(__file__).parents[2]
SAMPLES = sorted((ROOT / "blend_samples").glob("*.blend"))
UNPACK = (
    "import bpy, os, sys; bpy.ops.wm.open_mainfile(filepath=sys.argv[1], load_ui=False); "
    "bpy.ops.wm.save_as_mainfile(filepath=sys.argv[2], compress=False); "
    "sys.stdout.flush(); os._exit(0)"
)
# Numbers that upset whoever believes them.
WORDS = [
    *(struct.pack("<i", number) for number in (-1, 0, 2**31 - 1, -(2**31), 65536)),
    *(struct.pack("<f", number) for number in (float("nan"), float("inf"), 1e38, -1e-38)),
    struct.pack("<q", -1), struct.pack("<q", 2**62), struct.pack("<d", float("nan")),
]  # fmt: skip
TEXTS = [b"\xff\xfe\xfd", b"\0", b"../../x", b"'\"<>&", b"%s%n%x", b"\xc3", b"9" * 64, b"\x1b[2J"]
OURS = re.compile(
    rb"mouldply|carbon_\w+|glass_\w+|aramid_\w+|peel_\w+|is_mould|angle_deg|fabric|cloth|tack|ply"
)
WAYS = (
    "flip", "cut", "zero", "header", "number", "block", "swap", "text", "packed flip",
    "packed cut", "packed header",
)  # fmt: skip


def unpacked(folder):
    """Return the samples without compression, made by Blender itself: name -> bytes."""
    made = {}
    for sample in SAMPLES:
        file = Path(folder) / sample.name
        command = [sys.executable, "-P", "-c", UNPACK, str(sample), str(file)]
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        made[sample.name] = file.read_bytes()
        assert made[sample.name].startswith(b"BLENDER")
    return made


def damaged(content, way, chance):
    """Return the bytes of a file damaged one way; `chance` a random.Random."""
    data, size = bytearray(content), len(content)
    if way.endswith("flip"):
        for _ in range(chance.choice([1, 3, 10, 100])):
            data[place(content, way, chance)] ^= 1 << chance.randrange(8)
    elif way.endswith("cut"):
        del data[
            chance.choice([chance.randrange(size), chance.randrange(64), size - 1, size - 24]) :
        ]
    elif way == "zero":
        start = chance.randrange(size)
        data[start : start + chance.choice([1, 16, 400, 5000])] = b""
    elif way.endswith("header"):
        for _ in range(chance.randint(1, 4)):
            data[chance.randrange(48)] = chance.randrange(256)
    elif way == "number":
        for _ in range(chance.choice([1, 3, 10])):
            word = chance.choice(WORDS)
            start = place(content, way, chance) // 4 * 4
            data[start : start + len(word)] = word
    elif way in ("block", "swap"):
        blocks = block_heads(content)
        one, other = chance.choice(blocks), chance.choice(blocks)
        if way == "swap":
            data[one : one + 32], data[other : other + 32] = (
                content[other : other + 32],
                content[one : one + 32],
            )
        else:
            word = chance.choice(WORDS)
            at = one + chance.choice([0, 4, 8, 16, 24])
            data[at : at + len(word)] = word
    elif way == "text":
        end = content.rfind(b"DNA1")
        places = [match.span() for match in OURS.finditer(content) if match.end() < end]
        for _ in range(chance.choice([1, 2, 5])):
            start, end = chance.choice(places)
            text = chance.choice([*TEXTS, chance.randbytes(end - start)])
            data[start : start + len(text)] = text  # over what stands behind, too
    return bytes(data)


def place(content, way, chance):
    """Return a byte to damage: anywhere, or near our own properties, before the file's catalogue.

    The catalogue of structs at the end is a tenth of a sample; a file whose catalogue is damaged
    is refused before anything else is looked at.
    """
    if way.startswith("packed"):
        return chance.randrange(len(content))
    end = content.rfind(b"DNA1") if chance.random() < 0.9 else len(content) - 16
    near = [match.start() for match in OURS.finditer(content) if match.start() < end]
    if chance.random() < 0.5:
        return min(max(chance.choice(near) + chance.randint(-300, 300), 0), end)
    return chance.randrange(end)


def block_heads(content):
    """Return where the blocks of an unpacked file start.

    Source: Blender's own files, looked at: `BLENDER17-01v` and a block head of code, struct, old
    address, length and count (4, 4, 8, 8, 8 bytes); before that 12 bytes and 4, 4, 8, 4, 4.
    """
    new = content[7:9] == b"17"
    at, heads = (17, []) if new else (12, [])
    while at + 24 < len(content):
        heads.append(at)
        if content[at : at + 4] == b"ENDB":
            break
        (length,) = struct.unpack_from("<q" if new else "<i", content, at + (16 if new else 4))
        at += (32 if new else 24) + length
    return heads


def told(content, folder, limit_s):
    """Return what comes of a file: "read", "named", "given up" or "late"; else what is wrong."""
    file = Path(folder) / "part.blend"
    file.write_bytes(content)
    before = hashlib.sha256(content).digest()
    outcome = "read"
    try:
        blend_reader.read_job(file, limit_s=limit_s)
    except FlattenError as error:
        if not (error.message and error.hint):
            return f"bug: no way out of {error!r}"
        given_up = re.search(r"gave up on 'part.blend' \((.*)\)", error.message)
        outcome = "late" if "has not finished" in error.message else "named"
        if given_up:
            outcome = "given up" if given_up[1].startswith("SIG") else f"bug: {given_up[1]}"
    left = sorted(path.name for path in Path(folder).iterdir())
    if left != ["part.blend"] or hashlib.sha256(file.read_bytes()).digest() != before:
        outcome = f"bug: the folder holds {left}, the file is changed"
    return outcome
