"""SIGKILL at random moments of real runs: 200, half of them while files are written.

python tests/bench/long_kills.py [--kills 200]
"""

import argparse
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TEST = "test_killed_at_any_moment_a_run_leaves_the_old_set_or_the_new_one"

parser = argparse.ArgumentParser()
parser.add_argument("--kills", type=int, default=200)
env = {**os.environ, "MOULDPLY_KILLS": str(parser.parse_args().kills)}
sys.exit(
    subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-o", "timeout=0", "-p", "no:cacheprovider",
         f"tests/robust/test_files_out.py::{TEST}"],
        cwd=ROOT, env=env,
    ).returncode
)  # fmt: skip
