"""Compile the kernels where a compiler is found; otherwise the same files run as plain Python."""

import sys
from pathlib import Path

from setuptools import Extension, setup

KERNELS = sorted(Path("src").glob("slackwater/**/kernels.py"))


def extensions() -> list[Extension]:
    try:
        from Cython.Build import cythonize
    except ImportError:
        print("slackwater: Cython not found; kernels will run as plain Python", file=sys.stderr)
        return []
    wanted = [
        Extension(
            ".".join(path.relative_to("src").with_suffix("").parts),
            [path.as_posix()],
            optional=True,  # no compiler: the build goes on without it
            extra_compile_args=[] if sys.platform == "win32" else ["-O3", "-fno-math-errno", "-ffp-contract=off"],
        )
        for path in KERNELS
    ]
    return cythonize(
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


setup(ext_modules=extensions())
