"""C compiled and loaded while Instep runs, where a compiler is at hand: the same results as NumPy, sooner.

Whoever uses this floor has a way of its own without it: every function here may answer that there is none.
"""

from instep.native.library import load_library
from instep.native.switch import native_is_off, native_is_wished

__all__ = ["load_library", "native_is_off", "native_is_wished"]
