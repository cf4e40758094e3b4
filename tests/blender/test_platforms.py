"""What the zips for other systems hold, read without running it: tags, machine code, licences.

Machine codes: ELF e_machine (gABI), PE/COFF Machine (Microsoft's PE format), Mach-O cputype
(Apple's mach-o/loader.h, fat.h). Wheel names: PEP 427; platform tags: PEP 425, 600.
"""

import json
import re
import struct
import zipfile
from email.parser import Parser

import pytest

from addon import build, carried

LOCK = json.loads(build.LOCK.read_text("utf-8"))
PYTHONS = {"3.11": "cp311", "3.13": "cp313"}  # of Blender 4.2 to 5.0, and from 5.1 on
TAGS = {
    "linux-x64": r"manylinux\w*_x86_64",
    "windows-x64": r"win_amd64",
    "macos-x64": r"macosx_\d+_\d+_x86_64",
    "macos-arm64": r"macosx_\d+_\d+_arm64",
}
NEWEST_GLIBC = 28  # of the systems Blender 4.2 itself asks for: glibc 2.28
ELF, PE, MACHO, FAT = b"\x7fELF", b"MZ", 0xFEEDFACF, 0xCAFEBABE
CODES = {
    "linux-x64": ("elf", 62),
    "windows-x64": ("pe", 0x8664),
    "macos-x64": ("macho", 0x01000007),
    "macos-arm64": ("macho", 0x0100000C),
}


def parts(file):
    """Return name, version, Python, ABI and platforms of a wheel."""
    return file.removesuffix(".whl").split("-")


@pytest.mark.parametrize("platform", LOCK)
def test_every_wheel_is_for_this_system_and_a_python_blender_has(platform):
    for wheel in LOCK[platform]:
        _, _, python, abi, tags = parts(wheel["file"])
        if tags == "any":
            assert (abi, python) == ("none", python), wheel["file"]
            assert python.startswith("py"), wheel["file"]
            continue
        assert python in PYTHONS.values(), wheel["file"]
        assert abi in (python, "abi3"), wheel["file"]
        for tag in tags.split("."):
            assert re.fullmatch(TAGS[platform], tag), wheel["file"]
        if platform == "linux-x64":
            oldest = min(int(n) for n in re.findall(r"manylinux_2_(\d+)_", tags) or ["17"])
            assert oldest <= NEWEST_GLIBC, wheel["file"]


@pytest.mark.parametrize("platform", LOCK)
def test_every_system_carries_the_same_libraries_once_for_each_python(platform):
    """Versions may differ: an older one where the newest asks for a newer system."""

    def of(rows):
        return sorted(tuple(parts(row["file"])[0:3:2]) for row in rows)

    assert of(LOCK[platform]) == of(LOCK["linux-x64"])
    assert len({row["file"] for row in LOCK[platform]}) == len(LOCK[platform])


@pytest.fixture(scope="module", params=sorted(LOCK))
def wheels(request):
    """The wheels of one platform, fetched once: name and open file."""
    cache = build.OUT / "wheels"
    files = [carried.fetch(wheel, cache) for wheel in LOCK[request.param]]
    return request.param, files


@pytest.mark.slow
def test_machine_code_is_this_system_s(wheels):
    platform, files = wheels
    kind, code = CODES[platform]
    seen = set()
    for file in files:
        with zipfile.ZipFile(file) as packed:
            for name in packed.namelist():
                if name.endswith((".so", ".pyd", ".dll", ".dylib")) or ".so." in name:
                    found = codes_of(packed.read(name))
                    assert (kind, code) in found, f"{file.name}: {name} is {found}"
                    seen.add(parts(file.name)[0].lower())
    assert {"cvxopt", "shapely", "spyrrow", "pillow", "fast_simplification"} <= seen


def codes_of(content):
    """Return which machines a library is for: (format, code), several where it is fat."""
    if content[:4] == ELF:
        return {("elf", struct.unpack_from("<H", content, 18)[0])}
    if content[:2] == PE:
        head = struct.unpack_from("<I", content, 0x3C)[0]
        assert content[head : head + 4] == b"PE\0\0"
        return {("pe", struct.unpack_from("<H", content, head + 4)[0])}
    if struct.unpack_from("<I", content)[0] == MACHO:
        return {("macho", struct.unpack_from("<I", content, 4)[0])}
    if struct.unpack_from(">I", content)[0] == FAT:
        count = struct.unpack_from(">I", content, 4)[0]
        return {("macho", struct.unpack_from(">I", content, 8 + 20 * n)[0]) for n in range(count)}
    return set()


@pytest.mark.slow
def test_extension_modules_are_of_the_wheel_s_python(wheels):
    """cpython-311, cp311 or abi3 in each name, as the wheel's own tag says."""
    for file in wheels[1]:
        _, _, python, abi, _ = parts(file.name)
        with zipfile.ZipFile(file) as packed:
            for name in packed.namelist():
                number = re.search(r"\.(?:cpython-|cp)(\d+)\b", name)
                if number and name.endswith((".so", ".pyd")):
                    assert f"cp{number[1]}" == python or abi == "abi3", f"{file.name}: {name}"


@pytest.mark.slow
def test_what_a_library_needs_is_carried_too(wheels):
    """Requirements without a condition, read from the wheels; numpy is Blender's."""
    known = {normal(parts(file.name)[0]) for file in wheels[1]} | {"numpy"}
    for file in wheels[1]:
        for need in facts_of(file).get_all("Requires-Dist") or []:
            if ";" not in need:
                name = normal(re.match(r"[\w.-]+", need)[0])
                assert name in known, f"{file.name} needs {name}"


@pytest.mark.slow
def test_every_licence_is_stated_and_its_text_is_inside(wheels):
    listed = build.licences(wheels[1])
    assert "see the wheel" not in listed
    for file in wheels[1]:
        name, version = facts_of(file)["Name"], facts_of(file)["Version"]
        assert re.search(rf"\| {re.escape(name)} \| {re.escape(version)} \| \S+", listed), name
        with zipfile.ZipFile(file) as packed:
            texts = [n for n in packed.namelist() if re.search(r"licen[sc]e|copying", n, re.I)]
        assert texts, f"{file.name} carries no licence text"


@pytest.mark.slow
def test_the_zip_stays_below_what_may_be_uploaded(wheels):
    """Wheels are packed already: a zip of them is no smaller. Add-on and engine: 10 MB at most."""
    assert sum(file.stat().st_size for file in wheels[1]) <= build.MOST_BYTES - 10 * 2**20


def facts_of(file):
    with zipfile.ZipFile(file) as packed:
        name = next(n for n in packed.namelist() if n.endswith(".dist-info/METADATA"))
        return Parser().parsestr(packed.read(name).decode("utf-8"))


def normal(name):
    """Return a library's name as PEP 503 compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()
