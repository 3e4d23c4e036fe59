"""Compile the kernels where a compiler is found; otherwise the same files run as plain Python.

SLACKWATER_PLAIN_KERNELS=1 leaves them uncompiled, to find a fault in one or to stand in for a machine
without a compiler.
"""

import os
import sys
from pathlib import Path

from setuptools import Extension, setup

OPTIMISE = [] if sys.platform == "win32" else ["-O3", "-g0", "-fno-math-errno", "-ffp-contract=off"]
KERNELS = sorted(Path("src").glob("slackwater/**/kernels.py"))


def extensions() -> list[Extension]:
    if os.environ.get("SLACKWATER_PLAIN_KERNELS", "") not in ("", "0"):
        print("slackwater: asked not to compile; kernels will run as plain Python", file=sys.stderr)
        return []
    try:
        from Cython.Build import cythonize
    except ImportError:
        print("slackwater: Cython not found; kernels will run as plain Python", file=sys.stderr)
        return []
    wanted = [
        Extension(
            ".".join(path.relative_to("src").with_suffix("").parts),
            [path.as_posix()],
            extra_compile_args=OPTIMISE,
        )
        for path in KERNELS
    ]
    compiled = cythonize(
        wanted,
        build_dir="build",
        compiler_directives={
            "language_level": 3,
            "boundscheck": False,
            "wraparound": False,
            "cdivision": True,
            "initializedcheck": False,
        },
    )
    for extension in compiled:
        extension.optional = True  # no compiler: the build goes on. Said here, as cythonize drops it (3.3.1)
    return compiled


setup(ext_modules=extensions(), options={"build_ext": {"parallel": os.cpu_count() or 1}})
