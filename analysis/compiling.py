"""What compiles ``sweep.py`` to machine code; the only file that knows numba."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

from numba import njit

Compiled = TypeVar("Compiled", bound=Callable[..., object])


def compiled(function: Compiled) -> Compiled:
    """Compile to machine code; kept on disk where a place for it can be written."""
    try:
        made = njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # neither beside the file nor in the user's cache
        made = njit(nogil=True, error_model="numpy")(function)
    return cast(Compiled, made)
