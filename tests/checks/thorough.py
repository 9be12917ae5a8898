"""What the suite leaves out: tests marked ``thorough``, and many more examples of each property.

``python tests/checks/thorough.py`` takes some minutes; with ``--times 1`` only the marked tests
run, as they do before anything lands (``.ci/run``). ``--tests`` takes only some files.
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
        "--times", type=int, default=25, help="as many examples of a property as in the suite"
    )
    parser.add_argument("--tests", nargs="*", default=["tests", "protocols"])
    options = parser.parse_args()
    wanted = "thorough" if options.times == 1 else "thorough or hypothesis"
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:xdist", "-m", wanted, *options.tests],
        cwd=_ROOT, env={**os.environ, TIMES: str(options.times)}, check=False,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    print(done.stdout)
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
