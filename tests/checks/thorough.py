"""What the suite leaves out: tests marked ``thorough``, and most examples of each property.

``python tests/checks/thorough.py`` takes some minutes. With ``--times 1`` each property is tried
with its own number of examples, as before anything lands (``.ci/run``): in the suite it has a share
of them. ``--tests`` takes only some files.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from pathlib import Path
from typing import Final

import beside  # noqa: F401 - before helpers are imported
from examples import TIMES

_ROOT: Final = Path(__file__).resolve().parent.parent.parent


def main() -> int:
    """Run them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument(
        "--times", type=int, default=25, help="as many examples as a property's own number"
    )
    parser.add_argument("--tests", nargs="*", default=["tests", "protocols"])
    options = parser.parse_args()
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:xdist", "-m",
         "thorough or hypothesis", *options.tests],
        cwd=_ROOT, env={**os.environ, TIMES: str(options.times)}, check=False,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    print(done.stdout)
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
