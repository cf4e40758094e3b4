"""Freed memory serves again: pages are not asked for twice."""

import platform
import subprocess
import sys
import textwrap

import pytest

ROUNDS, ARRAYS, MB = 20, 6, 3
PAGE = 4096


def pages_asked_for(first: str) -> int:
    """Page faults of a process that makes and frees arrays again and again, after `first`."""
    program = f"""
        import resource
        import numpy as np
        {first}
        def round():
            made = [np.ones({MB} << 17) for _ in range({ARRAYS})]
        round()
        before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
        for _ in range({ROUNDS}):
            round()
        print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(program)], capture_output=True, text=True, check=True
    )
    return int(done.stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
def test_arrays_are_made_of_what_others_left():
    kept = pages_asked_for("from flatten.memory import keep_freed; keep_freed()")
    every_time = pages_asked_for("pass")

    # All arrays of one round, which is what the C library hands back otherwise.
    assert every_time > ROUNDS * ARRAYS * (MB << 20) / PAGE / 2
    assert kept < ARRAYS * (MB << 20) / PAGE / 2
