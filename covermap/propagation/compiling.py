"""How kernels are compiled: the one place that says so."""

from typing import Any

import numba

from covermap.kernel_cache import in_own_cache
from covermap.linked_kernels import with_twin

# The numpy error model gives inf and NaN where Python would raise.
# fastmath=True stays off: NaN marks cells without data, and it may drop them. A kernel that needs
# reassociation to vectorise names its flags ({"contract", "reassoc", ...}, never "nnan" or "ninf")
# with the gain measured beside it.
# No parallel=True: threads stand outside (one a tile); two Python threads inside
# numba's own parallel loops abort the process.
# fastmath=False is said, not left out: a kernel first compiled inside a caller with flags would take the
# caller's, and keep them in the cache.
# No wrapper for calls from C: nobody calls a kernel from there.
_KERNEL: dict[str, Any] = {
    "cache": True,
    "nogil": True,
    "error_model": "numpy",
    "fastmath": False,
    "no_cfunc_wrapper": True,
}
kernel = with_twin(in_own_cache(numba.njit(**_KERNEL)), _KERNEL)

# The same without numba's counting of references to arrays: for kernels that take records of many arrays and
# make none. Counted, a call with a home's records took 0.6 us for the counting alone, 40 times the work in it
# (one core of a shared AMD EPYC, numba 0.68). A kernel that makes an array or copies a slice is refused.
_LEAN: dict[str, Any] = {**_KERNEL, "_nrt": False}
lean_kernel = with_twin(in_own_cache(numba.njit(**_LEAN)), _LEAN)

# A lean kernel that only other kernels call: without the wrappers for calls from Python, which are three
# quarters of the code where records of many arrays are unpacked. Called from Python, it ends the process.
_INNER: dict[str, Any] = {**_LEAN, "no_cpython_wrapper": True}
inner_kernel = with_twin(in_own_cache(numba.njit(**_INNER)), _INNER)
